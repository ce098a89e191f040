"""Physics of the clarification station: pure functions, no input or output."""
