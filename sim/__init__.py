"""The simulator: stands in for the lake. Shares no solver with the assistant."""
