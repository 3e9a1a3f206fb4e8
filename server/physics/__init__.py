"""Gas, flow, outgassing, vapour, pumps and pump-down: pure functions on arrays, in SI."""
