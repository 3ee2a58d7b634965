package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"mouldwright/internal/sqlitefile"
)

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
	w, r, err := sqlitefile.Open(ctx, full, sqlitefile.Full)
	if err != nil {
		return nil, err
	}
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
