package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

// Options of Open; the zero value is the sensible default.
type Options struct {
	// FilesDir holds the photos. Empty: beside an SQLite file, its name with ".files" added; with
	// PostgreSQL there is then no place for photos.
	FilesDir string
	// Now is the clock; nil is the machine's. Tests set it.
	Now func() time.Time
}

// Store is an open set of records, safe for use by many goroutines, and by many processes at once.
type Store struct {
	write, read *sql.DB
	dialect     dialect
	files       string
	now         func() time.Time
}

// dialect is what differs between the two databases.
type dialect struct {
	name string
	// lock begins a write: it keeps other writers out until the transaction ends.
	lock string
	// snapshot is how to begin reading one unchanging state.
	snapshot sql.TxOptions
}

// Open opens records and brings their tables up to date. The dsn is the path of an SQLite file, which
// is made when it does not exist, or a PostgreSQL address as in postgres://host/database.
func Open(ctx context.Context, dsn string, opt Options) (*Store, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	open := openSQLite
	if IsPostgres(dsn) {
		open = openPostgres
	}
	s, err := open(ctx, dsn, opt)
	if err != nil {
		return nil, fmt.Errorf("open the records %s: %w", Shown(dsn), err)
	}
	s.now = opt.Now
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the records %s: %w", Shown(dsn), err), s.Close())
	}
	return s, nil
}

// Close ends all connections.
func (s *Store) Close() error {
	if s.read == s.write {
		return s.write.Close()
	}
	return errors.Join(s.read.Close(), s.write.Close())
}

// Database names the kind of database: "SQLite" or "PostgreSQL".
func (s *Store) Database() string { return s.dialect.name }

// IsPostgres says whether an address names a PostgreSQL server.
func IsPostgres(dsn string) bool {
	return strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://")
}

// plainAddress is HOST or HOST:PORT, with or without a database.
var plainAddress = regexp.MustCompile(`^[^:@]*(:\d+)?(/[^@]*)?$`)

// Shown is an address without the password that it may hold. A password with @, / or ? in it is hidden
// whole: where it cannot be told where one ends, no more than what stands before it is shown.
func Shown(dsn string) string {
	if !IsPostgres(dsn) {
		return dsn
	}
	scheme, rest, _ := strings.Cut(dsn, "://")
	user := rest
	if i := strings.IndexAny(rest, ":/?@"); i >= 0 {
		user = rest[:i]
	}
	address, parameters, _ := strings.Cut(rest, "?") // parameters may hold a password too
	at := strings.LastIndex(address, "@")
	switch {
	case strings.Contains(parameters, "@"): // of a parameter, or of a password that holds a ?
	case at >= 0:
		return scheme + "://" + user + "@" + address[at+1:]
	case plainAddress.MatchString(address):
		return scheme + "://" + address
	}
	return scheme + "://" + user + "…"
}

// needFolder makes sure that the folder of a file is there, with a plain message when it is not.
func needFolder(path string) error {
	dir := filepath.Dir(path)
	fi, err := os.Stat(dir)
	if err == nil && !fi.IsDir() {
		return fmt.Errorf("%s is not a folder", dir)
	}
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("the folder %s does not exist; make it first: %w", dir, err)
	}
	return err
}
