package sqlitefile

import (
	"path/filepath"
	"testing"
)

// The settings are in force on both connections, also for a name that a URI would read otherwise; the numbers
// are those of sqlite.org/pragma.html.
func TestOpen(t *testing.T) {
	for flush, level := range map[Flush]string{Full: "2", Normal: "1"} {
		write, read, err := Open(t.Context(), filepath.Join(t.TempDir(), "50% of a?b#c.db"), flush)
		if err != nil {
			t.Fatal(err)
		}
		defer write.Close()
		defer read.Close()
		if _, err := write.Exec("CREATE TABLE a (b INTEGER)"); err != nil {
			t.Fatal(err)
		}
		if _, err := read.Exec("INSERT INTO a VALUES (1)"); err == nil {
			t.Error("the reader writes")
		}
		for name, want := range map[string]string{"journal_mode": "wal", "foreign_keys": "1", "busy_timeout": "15000", "synchronous": level} {
			var w, r string
			if err := write.QueryRow("PRAGMA " + name).Scan(&w); err != nil {
				t.Fatal(err)
			}
			if err := read.QueryRow("PRAGMA " + name).Scan(&r); err != nil {
				t.Fatal(err)
			}
			if w != want || r != want {
				t.Errorf("%s: %s of the writer, %s of the reader, not %s", name, w, r, want)
			}
		}
	}
}
