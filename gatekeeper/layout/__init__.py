"""The layout study: what a shop's ducts can do, said before anybody cuts one. The controller needs none of it."""
