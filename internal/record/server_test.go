package record

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
	"time"
)

// server is a PostgreSQL server of the tests' own, on a Unix socket in a folder of its own.
type server struct {
	dir  string // holds data/ and the socket
	bin  string
	cred *syscall.Credential // nil: as ourselves
}

var (
	serverOnce sync.Once
	theServer  *server
	serverErr  error
)

func TestMain(m *testing.M) {
	if path := os.Getenv(crashWriterEnv); path != "" {
		os.Exit(crashWriter(path))
	}
	code := m.Run()
	if theServer != nil {
		if err := errors.Join(theServer.ctl("stop", "-m", "fast"), os.RemoveAll(theServer.dir)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// postgres starts the server once. Where PostgreSQL is not installed the test is skipped, but in CI it
// fails.
func postgres(t testing.TB) *server {
	t.Helper()
	serverOnce.Do(func() { theServer, serverErr = startServer() })
	if serverErr != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(serverErr)
		}
		t.Skip(serverErr)
	}
	return theServer
}

func findServer() (string, error) {
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

func startServer() (*server, error) {
	bin, err := findServer()
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
	return s, s.start()
}

func (s *server) data() string { return filepath.Join(s.dir, "data") }

func (s *server) start() error {
	return s.ctl("start", "-l", filepath.Join(s.dir, "log"), "-o", fmt.Sprintf("-c listen_addresses='' -c unix_socket_directories='%s' -c max_connections=40", s.dir))
}

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

func (s *server) dsn(database string) string {
	return fmt.Sprintf("postgres://shop@/%s?host=%s", database, s.dir)
}

var databases atomic.Int64

// database makes an empty place for records and gives its address: a schema, since a database of its own
// costs seconds of flushing.
func (s *server) database(t testing.TB) string {
	t.Helper()
	db, err := openPostgres(context.Background(), s.dsn("postgres"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	name := fmt.Sprintf("t%d", databases.Add(1))
	if _, err := db.write.Exec("CREATE SCHEMA " + name); err != nil {
		t.Fatal(err)
	}
	return s.dsn("postgres") + "&search_path=" + name
}

// eachDatabase runs a test on both databases. dsn is a new, empty place.
func eachDatabase(t *testing.T, do func(t *testing.T, dsn string)) {
	t.Run("SQLite", func(t *testing.T) { do(t, filepath.Join(t.TempDir(), "records.db")) })
	t.Run("PostgreSQL", func(t *testing.T) { do(t, postgres(t).database(t)) })
}

// day is the clock of the tests; it stands still.
var day = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func open(t testing.TB, dsn string) *Store {
	t.Helper()
	s, err := Open(context.Background(), dsn, Options{FilesDir: filepath.Join(t.TempDir(), "photos"), Now: func() time.Time { return day }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func write(t testing.TB, s *Store, do func(*Tx) error) {
	t.Helper()
	if err := s.Write(context.Background(), Entry{Operator: "Kim", Why: "test"}, do); err != nil {
		t.Fatal(err)
	}
}

func read(t testing.TB, s *Store, do func(*Reader) error) {
	t.Helper()
	if err := s.Read(context.Background(), do); err != nil {
		t.Fatal(err)
	}
}

func add(t testing.TB, s *Store, recs ...Record) {
	t.Helper()
	write(t, s, func(tx *Tx) error {
		for _, r := range recs {
			if err := tx.Add(r); err != nil {
				return err
			}
		}
		return nil
	})
}

func number(v float64) *float64 { return &v }

// bench is a small set of records to begin with: a mould, two lots, a mix.
func bench() (m *Mould, a, b *Lot, x *Mix) {
	m = &Mould{Name: "ring 1", Job: "ring", Version: "1", Family: "two rigid halves", MadeOn: "2026-03-01", ExpectedShots: 10}
	a = &Lot{Material: "pu", Component: "A", MakerLot: "77", ExpiresOn: "2026-06-30"}
	b = &Lot{Material: "pu", Component: "B", MakerLot: "78", ExpiresOn: "2026-06-30", OpenedOn: "2026-02-01", DaysOpenMax: 60}
	x = &Mix{Job: "ring", Material: "pu", MixedAt: day, TemperatureC: number(22), HumidityPct: number(40), PotLifeS: number(600), TolerancePct: 3, Operator: "Kim",
		Parts: []MixPart{{"A", "lot-1", 20, 20.1}, {"B", "lot-2", 18.7, 18.7}}}
	return m, a, b, x
}

func benchIn(t testing.TB, s *Store) {
	t.Helper()
	m, a, b, x := bench()
	add(t, s, m, a, b, x)
}
