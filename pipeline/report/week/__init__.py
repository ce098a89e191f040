"""What only the weekly review shows."""
