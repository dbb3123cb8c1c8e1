"""Questions and answers that become a shop file: pure, for the terminal and for any other face."""
