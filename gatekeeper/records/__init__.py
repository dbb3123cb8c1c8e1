"""What must outlive a power cut: settings, start stores, latches, history (SQLite)."""
