"""What a shop is: typed config from text, its faults with their places, units, JSON schema."""
