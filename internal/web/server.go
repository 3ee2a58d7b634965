package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"mouldwright/internal/job"
	"mouldwright/internal/membudget"
	"mouldwright/internal/solid"
	"mouldwright/internal/tasks"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"
)

// Server answers for one workspace.
type Server struct {
	opt    Options
	work   *workspace
	staged *staging
	scenes *scenes
	moulds *keptPacks
	fills  *keptPacks
	tasks  *tasks.Queue
	pool   *solid.Pool
	users  *sessions
	guard  *guard
	books  *bookkeeping
	costly *turnstile
	long   *turnstile
	// reading is the memory of parts that are being read
	reading *membudget.Shares

	openAPI *huma.OpenAPI
	closing sync.Once
}

// newServer prepares a server that will be reached at addr.
func newServer(opt Options, addr net.Addr) (*Server, error) {
	work, err := openWorkspace(opt.Folder)
	if err != nil {
		return nil, err
	}
	reading := newReading()
	staged, err := newStaging(opt, reading)
	if err != nil {
		return nil, err
	}
	s := &Server{opt: opt, work: work, staged: staged, moulds: newKeptPacks(), fills: newKeptPacks(),
		pool: solid.NewPool(solid.Options{}), users: newSessions(opt), books: newBookkeeping(opt), costly: newCostly(), long: newLong(), reading: reading}
	s.scenes = newScenes(s.reading)
	s.guard = newGuard(addr, opt, s.users)
	// Last: with it, work begins.
	if s.tasks, err = s.openLine(context.Background()); err != nil {
		return nil, errors.Join(err, s.books.close(), s.pool.Close(), s.staged.close(), work.root.Close())
	}
	return s, nil
}

func isRefusal(err error) bool {
	var no *job.Refusal
	return errors.As(err, &no)
}

// close ends the work in hand and clears up.
func (s *Server) close() (err error) {
	s.closing.Do(func() {
		s.scenes.close()
		err = errors.Join(s.tasks.Close(), s.books.close(), s.pool.Close(), s.staged.close(), s.work.root.Close())
	})
	return err
}

// handler is the whole server, guard and all.
func (s *Server) handler() http.Handler {
	r := chi.NewRouter()
	s.routes(r)
	return s.guard.wrap(r)
}

const (
	headerTimeout = 10 * time.Second
	idleTimeout   = 2 * time.Minute
	answerTimeout = 2 * time.Minute  // of a common request; the first look at a large part is the slowest
	uploadTimeout = 15 * time.Minute // of a part over a slow network
	closeTimeout  = 5 * time.Second
	headerBytes   = 32 << 10
	// plainTimeout holds for every address that sets no limit of its own: the page and its files, signing in.
	plainTimeout = 30 * time.Second
)

// newHTTPServer has a deadline for everything that a client may be slow at.
func newHTTPServer(h http.Handler, base context.Context) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: headerTimeout, ReadTimeout: plainTimeout, WriteTimeout: plainTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: headerBytes,
		BaseContext: func(net.Listener) context.Context { return base }}
}

// Serve runs a server until ctx ends. ready is called with its address once it listens.
func Serve(ctx context.Context, opt Options, ready func(url string)) (err error) {
	opt = opt.withDefaults()
	if err := opt.check(); err != nil {
		return err
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", opt.Addr)
	if err != nil {
		return fmt.Errorf("listen at %s: %w; is another mouldwright running? choose another port with --addr", opt.Addr, err)
	}
	s, err := newServer(opt, l.Addr())
	if err != nil {
		return errors.Join(err, l.Close())
	}
	defer func() { err = errors.Join(err, s.close()) }()
	// Streams watch this, so that they end when the server does.
	base, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	h := newHTTPServer(s.handler(), base)
	ended := make(chan error, 1)
	go func() {
		if opt.CertFile != "" {
			ended <- h.ServeTLS(l, opt.CertFile, opt.KeyFile)
			return
		}
		ended <- h.Serve(l)
	}()
	ready(opt.scheme() + "://" + l.Addr().String() + "/")
	select {
	case err = <-ended:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	stop()
	end, cancel := context.WithTimeout(context.Background(), closeTimeout)
	defer cancel()
	if err := h.Shutdown(end); errors.Is(err, context.DeadlineExceeded) {
		err = h.Close() // who is still reading has had the time
		if err != nil {
			return fmt.Errorf("stop serving: %w", err)
		}
	} else if err != nil {
		return fmt.Errorf("stop serving: %w", errors.Join(err, h.Close()))
	}
	return nil
}
