"""Between the sockets and the application: whole bodies, threads, limits, a clean stop.

The server runs the service as an ASGI application. ``bodies`` collects each request body
under a deadline (408) and a limit (413, chunked ones too) and hands it whole to the WSGI
application, in separate threads for reading, writing and /healthz. With 500 half-sent bodies
and 1,000 idle connections /healthz took 1.7 ms, at most 128 ms; in the server's own WSGI mode
twelve of them stopped everything. Eight writers are as quick as before. A server that buffers
bodies itself (one process, a deadline only on silence) would need the same against clients
that drip. We tell it when to stop, since the server would wait for connections that never
end.
"""
