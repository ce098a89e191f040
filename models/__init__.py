"""Models that turn physics residuals into findings: pure functions, no input or output."""
