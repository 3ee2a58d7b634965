package record

import (
	"archive/zip"
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
)

// fullBench puts down a little of every kind, corrected once, with a photo.
func fullBench(t testing.TB, s *Store) {
	t.Helper()
	benchIn(t, s)
	add(t, s, runOf(RunStep{"release-lower", "release", true}, RunStep{"pour", "pour", false}),
		&SignOff{Run: "run-1", Step: "release-lower", Operator: "Kim", SignedAt: day, Value: number(2), Unit: "coats"},
		&Shot{Mould: "mould-1", Mix: "mix-1", Run: "run-1", Cavity: 1, PouredAt: day, Outcome: Scrap, CastingG: number(36), Operator: "Kim", Defects: []Defect{{"void", "rim"}}, Notes: "=1+1"})
	add(t, s, &Absence{Operator: "Kim", FromDay: "2026-03-04", UntilDay: "2026-03-05", Reason: "ill"})
	p, err := s.KeepPhoto(context.Background(), bytes.NewReader(pngBytes(t, 9)))
	if err != nil {
		t.Fatal(err)
	}
	p.Shot = "shot-1"
	add(t, s, &p)
	write(t, s, func(tx *Tx) error {
		var m Mould
		if err := tx.Get(&m, "mould-1"); err != nil {
			return err
		}
		m.Notes = "chipped at one corner"
		return tx.Correct(&m)
	})
}

// everything is all that a store holds.
func everything(t testing.TB, s *Store) []grid {
	t.Helper()
	var out []grid
	read(t, s, func(r *Reader) (err error) {
		if err := r.Verify(); err != nil {
			return err
		}
		out, err = r.grids()
		return err
	})
	return out
}

// A backup of either database restores into either, and the records are the same to the last bit.
func TestBackupMovesBetweenDatabases(t *testing.T) {
	eachDatabase(t, func(t *testing.T, from string) {
		eachDatabase(t, func(t *testing.T, to string) {
			ctx := context.Background()
			s := open(t, from)
			if len(everything(t, s)[0].rows) == 0 { // the outer loop's store serves both inner ones
				fullBench(t, s)
			}
			path := filepath.Join(t.TempDir(), "b.zip")
			m, err := s.Backup(ctx, path)
			if err != nil {
				t.Fatal(err)
			}
			if m.Rows["mix_parts"] != 2 || m.Rows["absences"] != 1 || m.Events != 10 {
				t.Errorf("manifest %+v", m)
			}
			d := open(t, to)
			if _, err := d.Restore(ctx, path, ReplaceOptions{}); err != nil {
				t.Fatal(err)
			}
			if a, b := everything(t, s), everything(t, d); !reflect.DeepEqual(a, b) {
				t.Errorf("restored differs:\n%v\n%v", a, b)
			}
			next := &Mould{Name: "next"} // numbering goes on where it was
			add(t, d, next)
			if next.ID != "mould-2" {
				t.Errorf("next mould is %s", next.ID)
			}
		})
	})
}

func TestRestoreKeepsWhatWasThere(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		ctx := context.Background()
		s := open(t, dsn)
		fullBench(t, s)
		dir := t.TempDir()
		path, keep := filepath.Join(dir, "b.zip"), filepath.Join(dir, "kept.zip")
		if _, err := s.Backup(ctx, path); err != nil {
			t.Fatal(err)
		}
		old := everything(t, s)
		add(t, s, &Mould{Name: "later"})
		later := everything(t, s)
		if _, err := s.Restore(ctx, path, ReplaceOptions{}); err == nil || !strings.Contains(err.Error(), "there are records already") {
			t.Fatalf("replaced without a word: %v", err)
		}
		if _, err := s.Restore(ctx, path, ReplaceOptions{KeepAt: path}); err == nil || !strings.Contains(err.Error(), "exists") {
			t.Fatalf("the kept backup may overwrite another: %v", err)
		}
		if _, err := s.Restore(ctx, path, ReplaceOptions{KeepAt: keep}); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(everything(t, s), old) {
			t.Error("the restored records differ")
		}
		if _, err := s.Restore(ctx, keep, ReplaceOptions{KeepAt: filepath.Join(dir, "third.zip")}); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(everything(t, s), later) {
			t.Error("what was there before did not come back")
		}
	})
}

// Every bit flipped, and every cut, is found before anything is replaced.
func TestDamagedBackups(t *testing.T) {
	ctx := context.Background()
	s := open(t, filepath.Join(t.TempDir(), "records.db"))
	fullBench(t, s)
	path := filepath.Join(t.TempDir(), "b.zip")
	if _, err := s.Backup(ctx, path); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before := everything(t, s)
	bad := filepath.Join(t.TempDir(), "bad.zip")
	try := func(what string, b []byte) {
		if err := os.WriteFile(bad, b, 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := s.Restore(ctx, bad, ReplaceOptions{KeepAt: filepath.Join(t.TempDir(), "k.zip")})
		if err == nil {
			// A flip may hit what carries no data (a time stamp of the archive): then the result must be right.
			if !reflect.DeepEqual(everything(t, s), before) {
				t.Errorf("%s: restored something else without an error", what)
			}
		} else if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNewer) {
			t.Errorf("%s: %v", what, err)
		}
	}
	for n := 0; n < len(whole); n += len(whole)/15 + 1 {
		try("cut", whole[:n])
	}
	for n := 0; n < len(whole); n += len(whole)/60 + 1 {
		b := bytes.Clone(whole)
		b[n] ^= 0x10
		try("flip", b)
	}
	if !reflect.DeepEqual(everything(t, s), before) {
		t.Error("the records changed")
	}
	if _, err := CheckBackup(ctx, filepath.Join(t.TempDir(), "none.zip")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
}

// A backup whose files match their checksums but whose rows do not hold together (made by hand) is
// refused, and the records stay as they were.
func TestForgedBackup(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		ctx := context.Background()
		s := open(t, dsn)
		fullBench(t, s)
		before := everything(t, s)
		path := filepath.Join(t.TempDir(), "forged.zip")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		err = s.Read(ctx, func(r *Reader) error {
			var b bytes.Buffer
			if _, err := s.writeBackup(&Reader{ctx, forger{r.q}}, &b); err != nil {
				return err
			}
			_, err := io.Copy(f, &b)
			return errors.Join(err, f.Close())
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := CheckBackup(ctx, path); err != nil {
			t.Fatalf("the forgery must pass the checksums to test what follows: %v", err)
		}
		if _, err := s.Restore(ctx, path, ReplaceOptions{KeepAt: filepath.Join(t.TempDir(), "k.zip")}); !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "stay as they were") {
			t.Errorf("%v", err)
		}
		if !reflect.DeepEqual(everything(t, s), before) {
			t.Error("the records changed")
		}
	})
}

// forger reads every mould as if it were expected to last longer than its events say.
type forger struct{ querier }

func (f forger) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if strings.Contains(query, "FROM moulds") {
		query = strings.Replace(query, "expected_shots", "expected_shots + 1 AS expected_shots", 1)
	}
	return f.querier.QueryContext(ctx, query, args...)
}

// Backups made while others write are each whole, and grow.
func TestBackupWhileInUse(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		ctx := context.Background()
		s := open(t, dsn)
		fullBench(t, s)
		stop := make(chan struct{})
		var wg sync.WaitGroup
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := 0; ; i++ {
				select {
				case <-stop:
					return
				default:
				}
				add(t, s, &Shot{Mould: "mould-1", Cavity: 1, PouredAt: day.Add(time.Duration(i) * time.Second), Outcome: Good, Operator: "Kim", Defects: []Defect{{"flash", ""}}})
			}
		}()
		last := int64(0)
		for i := range 5 {
			path := filepath.Join(t.TempDir(), "b.zip")
			m, err := s.Backup(ctx, path)
			if err != nil {
				t.Fatal(err)
			}
			if m.Rows["shots"] != m.Rows["shot_defects"] || m.Events < last {
				t.Errorf("backup %d: %d castings, %d defects, %d events after %d", i, m.Rows["shots"], m.Rows["shot_defects"], m.Events, last)
			}
			last = m.Events
			d := open(t, filepath.Join(t.TempDir(), "r.db"))
			if _, err := d.Restore(ctx, path, ReplaceOptions{}); err != nil {
				t.Fatal(err)
			}
		}
		close(stop)
		wg.Wait()
		if last < 12 {
			t.Errorf("%d events: nobody wrote while the backups were made", last)
		}
	})
}

func TestBackupNamesLostPhotos(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "records.db"))
	fullBench(t, s)
	var photos []Photo
	read(t, s, func(r *Reader) (err error) { photos, err = r.Photos("shot-1"); return err })
	if err := os.Remove(s.photoPath(photos[0].SHA256)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "b.zip")
	m, err := s.Backup(context.Background(), path)
	if err != nil || len(m.NotFound) != 1 || m.NotFound[0] != photos[0].SHA256 {
		t.Errorf("%+v, %v", m, err)
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	if len(z.File) != 2 {
		t.Errorf("%d files", len(z.File))
	}
}
