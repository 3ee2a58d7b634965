package sqlitefile

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"modernc.org/sqlite" // the "sqlite" driver, SQLite itself in Go
	sqlite3 "modernc.org/sqlite/lib"
)

// Flush is when what was written reaches the disk (sqlite.org/pragma.html#pragma_synchronous, from memory).
type Flush string

const (
	// Full flushes the log at every commit, so that not even a power cut takes back what was acknowledged.
	Full Flush = "FULL"
	// Normal flushes at checkpoints alone: a power cut may take back the last moments, never the soundness
	// of the file.
	Normal Flush = "NORMAL"
)

// settings: WAL lets readers go on while one writes. The wait covers another process's write.
const settings = "_pragma=busy_timeout(15000)&_pragma=journal_mode(WAL)&_pragma=foreign_keys(1)&_pragma=synchronous"

// readers is how many may read at once in one process.
const readers = 4

// Open opens a file, which is made when it does not exist. What write begins is a write from its start.
func Open(ctx context.Context, path string, flush Flush) (write, read *sql.DB, err error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, nil, err
	}
	segments := strings.Split(full, "/")
	for i, s := range segments {
		segments[i] = url.PathEscape(s)
	}
	name := "file:" + strings.Join(segments, "/") + "?" + settings + "(" + string(flush) + ")"
	write, err = sql.Open("sqlite", name+"&_txlock=immediate")
	if err != nil {
		return nil, nil, err
	}
	write.SetMaxOpenConns(1) // SQLite has one writer at a time; waiting here is fairer than in the file lock
	_, missing := os.Stat(full)
	if err := write.PingContext(ctx); err != nil {
		err = errors.Join(err, write.Close())
		if errors.Is(missing, fs.ErrNotExist) && noRoom(err) {
			dropEmpty(full)
		}
		return nil, nil, err
	}
	read, err = sql.Open("sqlite", name+"&_pragma=query_only(1)")
	if err != nil {
		return nil, nil, errors.Join(err, write.Close())
	}
	read.SetMaxOpenConns(readers)
	return write, read, nil
}

// noRoom says whether the disk kept SQLite from writing (sqlite.org/rescode.html: full, input and output).
func noRoom(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	code := e.Code() & 0xff
	return code == sqlite3.SQLITE_FULL || code == sqlite3.SQLITE_IOERR
}

// dropEmpty takes away a file that came to nothing, as on a full disk, so that it is not taken for records.
func dropEmpty(path string) {
	if info, err := os.Stat(path); err == nil && info.Size() == 0 {
		_ = os.Remove(path) // the error of opening it says more
	}
}
