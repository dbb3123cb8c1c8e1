"""Commissioning as data: what a shop has to be tried for, what came of it, and how the record is judged. Pure.

``plan`` makes the steps of a shop, each with the facts of just the part that it proves; ``record`` keeps results and
says which still stand; ``judging`` reads entries of the core's record and says what was seen, with figures.
"""
