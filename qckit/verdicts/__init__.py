"""Evidence in, finding out: new lot, month, poor hatch; as data and as sentences."""
