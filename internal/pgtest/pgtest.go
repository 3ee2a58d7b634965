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

type server struct {
	dir  string // holds data/ and the socket
	bin  string
	cred *syscall.Credential // nil: as ourselves
}

var (
	once     sync.Once
	running  *server
	startErr error
	schemas  atomic.Int64
)

// Database makes an empty place in the server and gives its address. The server is started once. Where
// PostgreSQL is not installed the test is skipped, but in CI it fails.
func Database(t testing.TB) (dsn string) {
	t.Helper()
	once.Do(func() { running, startErr = start() })
	if startErr != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(startErr)
		}
		t.Skip(startErr)
	}
	ctx := context.Background()
	c, err := pgx.Connect(ctx, running.dsn())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(ctx)
	// A schema: a database of its own costs seconds of flushing.
	name := fmt.Sprintf("t%d", schemas.Add(1))
	if _, err := c.Exec(ctx, "CREATE SCHEMA "+name); err != nil {
		t.Fatal(err)
	}
	return running.dsn() + "&search_path=" + name
}

// Main runs the tests of a package and stops the server, if one was started. It gives the exit code.
func Main(m *testing.M) int {
	code := m.Run()
	if running == nil {
		return code
	}
	if err := errors.Join(running.ctl("stop", "-m", "immediate"), os.RemoveAll(running.dir)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
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

func start() (*server, error) {
	bin, err := find()
	if err != nil {
		return nil, err
	}
	s := &server{bin: bin}
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
	return s, s.ctl("start", "-l", filepath.Join(s.dir, "log"), "-o",
		fmt.Sprintf("-c listen_addresses='' -c unix_socket_directories='%s' -c max_connections=60 -c fsync=off", s.dir))
}

func (s *server) data() string { return filepath.Join(s.dir, "data") }
func (s *server) dsn() string  { return "postgres://shop@/postgres?host=" + s.dir }

func (s *server) ctl(args ...string) error {
	return s.run("pg_ctl", append([]string{"-D", s.data(), "-w", "-s"}, args...)...)
}

func (s *server) run(name string, args ...string) error {
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
