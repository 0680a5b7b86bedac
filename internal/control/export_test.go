package control

import "net/http"

// Handler answers what comes by the socket.
func Handler(daemon Daemon) http.Handler { return handler(daemon) }
