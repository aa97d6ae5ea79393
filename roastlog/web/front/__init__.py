"""Between the sockets and the app: connections and half-sent requests, for which no thread is taken."""
