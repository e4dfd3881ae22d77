"""Between the sockets and the application: whole bodies, threads, limits, a clean stop."""
