package control

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// glance asks for a view without what has to be reckoned.
const glance = "?glance"

// maxBody bounds what a command may send.
const maxBody = 64 << 10

// A Server listens at the socket until it is closed.
type Server struct {
	http *http.Server
	ln   *net.UnixListener
}

// Listen opens the socket at path for the daemon that keeps a journal. A socket that
// a dead daemon left behind is replaced; one that answers is an error.
func Listen(path, journal string, daemon Daemon) (*Server, error) {
	ln, err := listen(path)
	if err != nil {
		return nil, err
	}
	s := &Server{ln: ln, http: &http.Server{
		Handler: onlyFor(journal, path, handler(daemon)), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 30 * time.Second,
	}}
	go func() { _ = s.http.Serve(ln) }() // ends with Close or Abandon
	return s, nil
}

// Check tells why there can be no socket at a path: something else is there,
// which is left alone.
func Check(path string) error {
	if info, err := os.Lstat(path); err == nil && info.Mode()&fs.ModeSocket == 0 {
		return fmt.Errorf("open control socket: %s is there and is no socket; control names a path for one", path)
	}
	return nil
}

func listen(path string) (*net.UnixListener, error) {
	if err := Check(path); err != nil {
		return nil, err
	}
	if c, err := net.Dial("unix", path); err == nil {
		c.Close()
		return nil, fmt.Errorf("open control socket: %s is answered by another daemon", path)
	} else if errors.Is(err, syscall.ECONNREFUSED) {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("remove the old control socket: %w", err)
		}
	}
	old := syscall.Umask(0o117)
	ln, err := net.Listen("unix", path)
	syscall.Umask(old)
	if err != nil {
		return nil, fmt.Errorf("open control socket: %w", err)
	}
	return ln.(*net.UnixListener), nil
}

// Close stops serving and removes the socket. Calling it twice is harmless.
func (s *Server) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := s.http.Shutdown(ctx); err != nil {
		return fmt.Errorf("close control socket: %w", err)
	}
	return nil
}

// Abandon stops serving a socket whose name is gone, and leaves alone what bears
// that name now.
func (s *Server) Abandon() {
	s.ln.SetUnlinkOnClose(false)
	_ = s.http.Close() // nobody can reach it any more
}

// onlyFor refuses what is meant for the daemon that keeps another journal.
func onlyFor(journal, socket string, h http.Handler) http.Handler {
	whole, err := filepath.Abs(journal)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		wanted, bad := url.PathUnescape(r.Header.Get(journalHeader))
		if err == nil && bad == nil && wanted != "" && !sameFile(wanted, whole) {
			http.Error(w, fmt.Sprintf("the daemon at %s keeps the journal %s, not %s: give each farm a control: of its own", socket, whole, wanted), http.StatusMisdirectedRequest)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// sameFile tells whether two whole paths lead to one file; equal ones do also
// where there is none.
func sameFile(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	return a == b || errA == nil && errB == nil && os.SameFile(x, y)
}

func handler(daemon Daemon) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /view", func(w http.ResponseWriter, r *http.Request) {
		v, err := daemon.Look(r.Context(), !r.URL.Query().Has(glance[1:]))
		if err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
		body, err := json.Marshal(v)
		if err != nil {
			http.Error(w, fmt.Sprintf("write the view: %v", err), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(body) // the command has gone: nobody is left to tell
	})
	mux.HandleFunc("POST /act", func(w http.ResponseWriter, r *http.Request) {
		var a Action
		d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
		d.DisallowUnknownFields()
		err := d.Decode(&a)
		all := a.Events()
		switch {
		case err != nil:
			http.Error(w, "not an action: "+err.Error(), http.StatusBadRequest)
		case len(all) == 0:
			http.Error(w, "the action is empty", http.StatusBadRequest)
		default:
			answer(w, daemon.Act(r.Context(), all...))
		}
	})
	mux.HandleFunc("GET /copy", func(w http.ResponseWriter, r *http.Request) { copyTo(w, r, daemon) })
	return mux
}

// copyTo sends the journal, however long that takes. A copy that breaks off in
// the middle breaks the connection, so that it can't be taken for a whole one.
func copyTo(w http.ResponseWriter, r *http.Request, daemon Daemon) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{}) // a connection that has none needs no more time
	begun := &begun{w: w}
	err := daemon.Copy(r.Context(), begun)
	switch {
	case err == nil:
	case begun.yes:
		panic(http.ErrAbortHandler)
	case errors.Is(err, ErrInPlace):
		w.WriteHeader(http.StatusNoContent)
	default:
		answer(w, err)
	}
}

// begun notes whether anything was written.
type begun struct {
	w   io.Writer
	yes bool
}

func (b *begun) Write(p []byte) (int, error) {
	b.yes = true
	return b.w.Write(p)
}

// answer says in one line why something was not done.
func answer(w http.ResponseWriter, err error) {
	if err != nil {
		http.Error(w, err.Error(), http.StatusConflict)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}
