"""The book of a shop: one printable file of how it is built, wired, set, tested, cared for, and run by hand."""
