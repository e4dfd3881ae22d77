"""The records, the numbers and the acts of a toolroom, without web or paper.

Rooms, from the bottom up: errors, clock, units, codes (the terms); cutting (minutes in
the cut); life, metrology, stock, floor (edges, offsets, what fits, counts and shifts);
planning (swaps, sisters, bench); records and shopfiles (what a shop tells us, and its
spreadsheets); store (the database); acts (everything that writes); outlook (what comes);
views (what a reader asks for); feed (what machines say); demo (an invented shop).
"""
