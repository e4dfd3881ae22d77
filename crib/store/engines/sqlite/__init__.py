"""SQLite: connections, its own words in statements, triggers, the file and its checks.

connecting.py    from URL to connection; begin, commit, roll back; its errors
writer_queue.py  one writer at a time, over threads and processes
words.py         what its statements and tables say in their own way
guards.py        triggers that refuse what must not be (the migrations make them)
watching.py      temporary triggers that note what a transaction touches
files.py         whose file it is, copies of it, words for one that cannot be used
checks.py        its own proof of pages and references
"""
