package record

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"mouldwright/internal/pgtest"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(crashWriterEnv); path != "" {
		os.Exit(crashWriter(path))
	}
	os.Exit(pgtest.Main(m))
}

// eachDatabase runs a test on both databases. dsn is a new, empty place.
func eachDatabase(t *testing.T, do func(t *testing.T, dsn string)) {
	t.Run("SQLite", func(t *testing.T) { do(t, filepath.Join(t.TempDir(), "records.db")) })
	t.Run("PostgreSQL", func(t *testing.T) { do(t, pgtest.Durable(t).Database(t)) })
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
