package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	_ "modernc.org/sqlite" // the "sqlite" driver, SQLite itself in Go
)

// sqliteSettings: WAL lets readers go on while one writes; FULL flushes the log at every commit, so
// that not even a power cut takes back what was acknowledged (sqlite.org/pragma.html#pragma_synchronous,
// from memory). The wait covers another process's write.
const sqliteSettings = "_pragma=busy_timeout(15000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)"

// sqliteReaders is how many may read at once in one process.
const sqliteReaders = 4

func openSQLite(ctx context.Context, path string, opt Options) (*Store, error) {
	if err := needFolder(path); err != nil {
		return nil, err
	}
	if err := checkSQLiteFile(path); err != nil {
		return nil, err
	}
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	segments := strings.Split(full, "/")
	for i, s := range segments {
		segments[i] = url.PathEscape(s)
	}
	name := "file:" + strings.Join(segments, "/") + "?" + sqliteSettings
	w, err := sql.Open("sqlite", name+"&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	w.SetMaxOpenConns(1) // SQLite has one writer at a time; waiting here is fairer than in the file lock
	if err := w.PingContext(ctx); err != nil {
		return nil, errors.Join(err, w.Close())
	}
	r, err := sql.Open("sqlite", name+"&_pragma=query_only(1)")
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	r.SetMaxOpenConns(sqliteReaders)
	if opt.FilesDir == "" {
		opt.FilesDir = full + ".files"
	}
	return &Store{write: w, read: r, files: opt.FilesDir, dialect: dialect{name: "SQLite"}}, nil
}

// sqliteMagic opens every SQLite file (sqlite.org/fileformat.html).
const sqliteMagic = "SQLite format 3\x00"

// checkSQLiteFile refuses a file that is something else before SQLite touches it.
func checkSQLiteFile(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return err
	}
	if fi.IsDir() {
		return errors.New("this is a folder; name the file of the records in it, as in " + filepath.Join(path, "records.db"))
	}
	if fi.Size() == 0 {
		return nil // a file that was being made
	}
	head := make([]byte, len(sqliteMagic))
	if n, _ := f.Read(head); string(head[:n]) != sqliteMagic {
		return fmt.Errorf("this file does not hold records (it is no SQLite file); restore a backup to a new file, or name another: %w", ErrDamaged)
	}
	return nil
}
