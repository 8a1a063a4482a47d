"""One map over many photographs."""
