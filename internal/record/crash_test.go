package record

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"mouldwright/internal/pgtest"
)

// crashWriterEnv makes the test binary write records to that address until it is killed.
const crashWriterEnv = "RECORD_CRASH_WRITER"

// crashOpenerEnv makes it only open them.
const crashOpenerEnv = "RECORD_CRASH_OPENER"

// crashWriter writes a filling of three castings with their defects and its mix at a time, and says so
// only once the write was acknowledged.
func crashWriter(dsn string) int {
	ctx := context.Background()
	s, err := Open(ctx, dsn, Options{})
	if err != nil {
		fmt.Println("fail", err)
		return 1
	}
	fmt.Println("open")
	if os.Getenv(crashOpenerEnv) != "" {
		time.Sleep(time.Minute) // until the kill
	}
	for {
		mix := &Mix{Job: "ring", Material: "pu", MixedAt: time.Now(), TolerancePct: 3, Operator: "Kim", Parts: []MixPart{{"A", "a", 20, 20}, {"B", "b", 20, 20}}}
		var ids []string
		err := s.Write(ctx, Entry{Operator: "Kim"}, func(tx *Tx) error {
			if err := tx.Add(mix); err != nil {
				return err
			}
			for c := range 3 {
				shot := &Shot{Mould: "m", Mix: mix.ID, Cavity: c + 1, PouredAt: time.Now(), Outcome: Scrap, Operator: "Kim", Defects: []Defect{{"void", "rim"}, {"flash", "seam"}}}
				if err := tx.Add(shot); err != nil {
					return err
				}
				ids = append(ids, shot.ID)
			}
			return nil
		})
		if err != nil {
			fmt.Println("fail", err)
			return 1
		}
		fmt.Println("done", mix.ID, strings.Join(ids, " "))
	}
}

// killAt runs the writer, kills it after a time from its start, and gives what it acknowledged.
func killAt(t *testing.T, dsn string, after time.Duration, env ...string) (acked []string) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), crashWriterEnv+"="+dsn), env...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill := time.AfterFunc(after, func() { _ = cmd.Process.Kill() }) // SIGKILL
	defer kill.Stop()
	for lines := bufio.NewScanner(out); lines.Scan(); {
		// The last line may be cut: only whole ones were acknowledged, and the scanner cannot tell; a
		// cut one lacks an id.
		switch f := strings.Fields(lines.Text()); {
		case len(f) == 5 && f[0] == "done":
			acked = append(acked, f[1:]...)
		case len(f) > 0 && f[0] == "fail":
			t.Errorf("the writer failed: %s", lines.Text())
		}
	}
	_ = cmd.Wait() // it was killed
	return acked
}

// checkAfterCrash opens the records as the next start would: all acknowledged is there and whole, and
// nothing is half-written. It returns how many fillings there are.
func checkAfterCrash(t *testing.T, dsn string, acked []string, whole bool) int {
	t.Helper()
	s, err := Open(context.Background(), dsn, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	n := 0
	read(t, s, func(r *Reader) error {
		if whole {
			if err := r.Verify(); err != nil {
				return err
			}
		}
		mixes, err := r.Mixes()
		if err != nil {
			return err
		}
		shots, err := r.Shots("")
		if err != nil {
			return err
		}
		n = len(mixes)
		have, perMix := map[string]bool{}, map[string]int{}
		for _, s := range shots {
			have[s.ID] = true
			perMix[s.Mix]++
			if len(s.Defects) != 2 {
				t.Errorf("%s has %d defects of 2", s.ID, len(s.Defects))
			}
		}
		for _, m := range mixes {
			have[m.ID] = true
			if len(m.Parts) != 2 || perMix[m.ID] != 3 {
				t.Errorf("%s is half-written: %d parts, %d castings", m.ID, len(m.Parts), perMix[m.ID])
			}
		}
		for _, id := range acked {
			if !have[id] {
				t.Errorf("%s was acknowledged and is lost", id)
			}
		}
		return nil
	})
	return n
}

// crashBench puts down what the writer refers to.
func crashBench(t *testing.T, dsn string) {
	t.Helper()
	s := open(t, dsn)
	add(t, s, &Mould{Head: Head{ID: "m"}, Name: "m"}, &Lot{Head: Head{ID: "a"}, Material: "pu", Component: "A"}, &Lot{Head: Head{ID: "b"}, Material: "pu", Component: "B"})
}

const (
	kills   = 200
	perFile = 20 // kills into one set of records, so that none grows long
)

// 200 kills at random moments on each database, some while the records are being opened: nothing
// acknowledged is lost, nothing half-written is read.
func TestKilledWriters(t *testing.T) {
	rounds := kills
	if testing.Short() {
		rounds = 20
	}
	eachDatabase(t, func(t *testing.T, dsn string) {
		seed := uint64(time.Now().UnixNano())
		rnd := rand.New(rand.NewPCG(seed, 1))
		t.Logf("seed %d", seed)
		var acked []string
		total, before, late := 0, 0, 0
		for i := range rounds {
			if i%perFile == 0 {
				if i > 0 && IsPostgres(dsn) {
					dsn = pgtest.Durable(t).Database(t)
				} else if i > 0 {
					dsn = filepath.Join(t.TempDir(), "records.db")
				}
				acked, before, late = nil, 0, 0
				crashBench(t, dsn)
			}
			new := killAt(t, dsn, time.Duration(rnd.Int64N(int64(150*time.Millisecond))))
			acked = append(acked, new...)
			n := checkAfterCrash(t, dsn, acked, i%perFile == perFile-1 || i == rounds-1)
			// At most the one write in progress may be there beyond what was acknowledged. A server may end the
			// write of a client that is dead already after this look, so that it is found in a later round.
			most := 1
			if IsPostgres(dsn) {
				most += late
			}
			extra := n - before - len(new)/4
			if extra < 0 || extra > most {
				t.Errorf("round %d: %d fillings acknowledged, %d came to be there", i, len(new)/4, n-before)
			}
			late += 1 - extra
			before = n
			total += len(new) / 4
			if t.Failed() {
				t.FailNow()
			}
		}
		t.Logf("%d kills, %d acknowledged fillings, all there", rounds, total)
		if total < rounds/4 {
			t.Errorf("only %d writes in %d rounds: the kills come too early to test anything", total, rounds)
		}
	})
}

// New records killed while their tables are made come up whole at the next start.
func TestKilledWhileMakingTables(t *testing.T) {
	rnd := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 2))
	eachDatabase(t, func(t *testing.T, dsn string) {
		for i := range 6 {
			if i > 0 && IsPostgres(dsn) {
				dsn = pgtest.Durable(t).Database(t)
			} else if i > 0 {
				dsn = filepath.Join(t.TempDir(), "records.db")
			}
			killAt(t, dsn, time.Duration(10e6+rnd.Int64N(80e6)), crashOpenerEnv+"=1")
			crashBench(t, dsn)
			checkAfterCrash(t, dsn, nil, true)
		}
	})
}

// The server itself is stopped as by a power cut (immediate mode: no flush, no farewell) while several
// write. Whatever Write acknowledged is there after recovery.
func TestKilledServer(t *testing.T) {
	srv := pgtest.Durable(t)
	dsn := srv.Database(t)
	crashBench(t, dsn)
	for round := range 3 {
		s, err := Open(context.Background(), dsn, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var mu sync.Mutex
		var acked []string
		var wg sync.WaitGroup
		for w := range 3 {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for {
					lot := &Lot{Material: "pu", Component: "A", MakerLot: fmt.Sprint(round, w)}
					if err := s.Write(context.Background(), Entry{Operator: "Kim"}, func(tx *Tx) error { return tx.Add(lot) }); err != nil {
						return // the server is gone
					}
					mu.Lock()
					acked = append(acked, lot.ID)
					mu.Unlock()
				}
			}()
		}
		time.Sleep(time.Duration(100+50*round) * time.Millisecond)
		if err := srv.Kill(); err != nil {
			t.Fatal(err)
		}
		wg.Wait()
		if err := srv.Start(); err != nil {
			t.Fatal(err)
		}
		// The same store goes on once the server is back.
		read(t, s, func(r *Reader) error {
			lots, err := r.Lots()
			if err != nil {
				return err
			}
			have := map[string]bool{}
			for _, l := range lots {
				have[l.ID] = true
			}
			for _, id := range acked {
				if !have[id] {
					t.Errorf("%s was acknowledged and is lost", id)
				}
			}
			t.Logf("round %d: %d acknowledged, all there", round, len(acked))
			if len(acked) == 0 {
				t.Error("nothing was written before the stop")
			}
			return r.Verify()
		})
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
