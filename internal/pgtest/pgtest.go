// Package pgtest runs a PostgreSQL server for tests: the system's own, on a Unix socket in a folder that
// goes with it.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
)

// Server is a PostgreSQL server of the tests' own.
type Server struct {
	dir     string // holds data/ and the socket
	bin     string
	cred    *syscall.Credential // nil: as ourselves
	durable bool
}

// shared is a server that is started when a test first asks for it.
type shared struct {
	once    sync.Once
	durable bool
	server  *Server
	err     error
}

var (
	quick   = &shared{}
	durable = &shared{durable: true}
	schemas atomic.Int64
)

// Database makes an empty place in a server that keeps nothing over a crash, and gives its address. Where
// PostgreSQL is not installed the test is skipped, but in CI it fails.
func Database(t testing.TB) (dsn string) {
	t.Helper()
	return quick.get(t).Database(t)
}

// Durable is a server that flushes what it acknowledges, and can be killed.
func Durable(t testing.TB) *Server {
	t.Helper()
	return durable.get(t)
}

func (s *shared) get(t testing.TB) *Server {
	t.Helper()
	s.once.Do(func() { s.server, s.err = start(s.durable) })
	if s.err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(s.err)
		}
		t.Skip(s.err)
	}
	return s.server
}

// Database makes an empty place in the server and gives its address.
func (s *Server) Database(t testing.TB) (dsn string) {
	t.Helper()
	ctx := context.Background()
	c, err := pgx.Connect(ctx, s.dsn())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(ctx)
	// A schema: a database of its own costs seconds of flushing.
	name := fmt.Sprintf("t%d", schemas.Add(1))
	if _, err := c.Exec(ctx, "CREATE SCHEMA "+name); err != nil {
		t.Fatal(err)
	}
	return s.dsn() + "&search_path=" + name
}

// Kill ends the server as a power cut would: nothing is finished first.
func (s *Server) Kill() error { return s.ctl("stop", "-m", "immediate") }

// Start starts a server that was killed.
func (s *Server) Start() error {
	settings := fmt.Sprintf("-c listen_addresses='' -c unix_socket_directories='%s' -c max_connections=60", s.dir)
	if !s.durable {
		settings += " -c fsync=off"
	}
	return s.ctl("start", "-l", filepath.Join(s.dir, "log"), "-o", settings)
}

// Main runs the tests of a package and stops the servers that were started. It gives the exit code.
func Main(m *testing.M) int {
	code := m.Run()
	for _, s := range []*shared{quick, durable} {
		if s.server == nil {
			continue
		}
		if err := errors.Join(s.server.Kill(), os.RemoveAll(s.server.dir)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	return code
}

func find() (string, error) {
	dirs, err := filepath.Glob("/usr/lib/postgresql/*/bin")
	if err != nil {
		return "", err
	}
	slices.Sort(dirs)
	slices.Reverse(dirs)
	for _, d := range dirs {
		if _, err := os.Stat(filepath.Join(d, "initdb")); err == nil {
			return d, nil
		}
	}
	if p, err := exec.LookPath("initdb"); err == nil {
		return filepath.Dir(p), nil
	}
	return "", errors.New("PostgreSQL is not installed; apt-get install postgresql")
}

func start(durable bool) (*Server, error) {
	bin, err := find()
	if err != nil {
		return nil, err
	}
	s := &Server{bin: bin, durable: durable}
	if s.dir, err = os.MkdirTemp("/tmp", "pg"); err != nil { // a socket's path may have 107 bytes at most
		return nil, err
	}
	if os.Getuid() == 0 { // the server refuses to run as root
		u, err := user.Lookup("postgres")
		if err != nil {
			return nil, err
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(s.dir, uid, gid); err != nil {
			return nil, err
		}
		s.cred = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	if err := s.run("initdb", "-D", s.data(), "-U", "shop", "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C"); err != nil {
		return nil, err
	}
	return s, s.Start()
}

func (s *Server) data() string { return filepath.Join(s.dir, "data") }
func (s *Server) dsn() string  { return "postgres://shop@/postgres?host=" + s.dir }

func (s *Server) ctl(args ...string) error {
	return s.run("pg_ctl", append([]string{"-D", s.data(), "-w", "-s"}, args...)...)
}

func (s *Server) run(name string, args ...string) error {
	cmd := exec.Command(filepath.Join(s.bin, name), args...)
	cmd.Dir = s.dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: s.cred}
	// To a file, not a pipe: the server would hold the pipe open.
	log, err := os.OpenFile(filepath.Join(s.dir, "out"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Run(); err != nil {
		out, _ := os.ReadFile(log.Name())
		return fmt.Errorf("%s %v: %w\n%s", name, args, err, out)
	}
	return nil
}
