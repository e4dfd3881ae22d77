"""Part counts and states from machines: what they say, read; their place, kept; one way in.

``documents`` reads MTConnect, ``choice`` finds what to follow, ``follower`` decides what to ask
next and what an answer means, ``parts`` cuts a stream into documents.
"""
