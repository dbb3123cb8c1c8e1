"""The wiring plan: from a shop file alone to drawings, cables, parts, an order of work, labels and signs to print."""
