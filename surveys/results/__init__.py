"""Results: inputs in force, reduction, recalculation, combinations, traceability and history."""
