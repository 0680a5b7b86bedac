package control

import "net/http"

// Handler answers what comes by the socket.
func Handler(door Door) http.Handler { return handler(door) }
