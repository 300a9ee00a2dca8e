"""Whether a zone may be closed, turned, tested, painted or handed over, and what hinders it."""
