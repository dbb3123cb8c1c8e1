"""The signal: from samples of a current to 'this tool runs'. Pure: no clock, no devices."""
