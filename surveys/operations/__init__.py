"""Operations: Celery and its tasks, embedded worker, backup, integrity check, health, metrics and logging."""
