package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/user"
	"strings"
	"time"

	"mouldwright/internal/record"
)

type recordCmd struct {
	Mould   recordMouldCmd   `cmd:"" help:"Put down a mould that was made, or show the moulds and how far they are worn."`
	Lot     recordLotCmd     `cmd:"" help:"Put down a lot of a component, or show the lots."`
	Recall  recordRecallCmd  `cmd:"" help:"Find the mixes and castings that a lot went into."`
	Away    recordAwayCmd    `cmd:"" help:"Put down when somebody is away, or show the absences."`
	Mix     recordMixCmd     `cmd:"" help:"Put down a mix: components, lots, weights."`
	Start   recordStartCmd   `cmd:"" help:"Start a run of a job's steps, to sign them."`
	Sign    recordSignCmd    `cmd:"" help:"Sign a step of a run, or skip it with a reason."`
	Shot    recordShotCmd    `cmd:"" help:"Put down a casting: mould, mix, outcome, defects, photos."`
	Correct recordCorrectCmd `cmd:"" help:"Correct a record; its earlier form stays in the history."`
	List    recordListCmd    `cmd:"" help:"Show the castings, the runs, or the history of one record."`
	Causes  recordCausesCmd  `cmd:"" help:"Rank what may have caused a defect of a casting, with the evidence."`
	Export  recordExportCmd  `cmd:"" help:"Write the records as CSV, XLSX or JSON."`
	Backup  recordBackupCmd  `cmd:"" help:"Back the records up to one file, also while others write."`
	Restore recordRestoreCmd `cmd:"" help:"Put a backup in the place of the records."`
	Verify  recordVerifyCmd  `cmd:"" help:"Check the records against their checksums, or a backup."`
}

// recordsFlag says where the records are and who writes.
type recordsFlag struct {
	Records string `default:"records.db" env:"MOULDWRIGHT_RECORDS" placeholder:"PLACE" help:"Where the records are: an SQLite file, or postgres://USER@HOST/DATABASE."`
	Photos  string `env:"MOULDWRIGHT_PHOTOS" placeholder:"FOLDER" help:"Where photos are; left out: beside the SQLite file."`
	By      string `placeholder:"NAME" env:"MOULDWRIGHT_OPERATOR" help:"Who writes; left out: the name you are logged in by."`
	Key     string `placeholder:"KEY" help:"Any word that makes the same command harmless when it is given twice."`
}

func (f recordsFlag) open(ctx context.Context) (*record.Store, error) {
	return record.Open(ctx, f.Records, record.Options{FilesDir: f.Photos})
}

func (f recordsFlag) operator() string {
	if f.By != "" {
		return f.By
	}
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return ""
}

// write runs do as one write of the records.
func (f recordsFlag) write(s *session, why string, do func(*record.Tx, *record.Store) error) error {
	st, err := f.open(s.ctx)
	if err != nil {
		return err
	}
	defer st.Close() // what was written is acknowledged before this
	return st.Write(s.ctx, record.Entry{Operator: f.operator(), Why: why, Key: f.Key}, func(tx *record.Tx) error { return do(tx, st) })
}

// add writes one new record and prints its id.
func (f recordsFlag) add(s *session, r record.Record, id *string) error {
	if err := f.write(s, "", func(tx *record.Tx, _ *record.Store) error { return tx.Add(r) }); err != nil {
		return err
	}
	return s.result(r, func(w io.Writer) { fmt.Fprintln(w, *id) })
}

// read runs do on one state of the records. Reading makes no new file.
func (f recordsFlag) read(s *session, do func(*record.Reader, *record.Store) error) error {
	if !record.IsPostgres(f.Records) {
		if _, err := os.Stat(f.Records); err != nil {
			return fmt.Errorf("no records: %w; put something down first, or name the place with --records", err)
		}
	}
	st, err := f.open(s.ctx)
	if err != nil {
		return err
	}
	defer st.Close() // nothing was changed
	return st.Read(s.ctx, func(r *record.Reader) error { return do(r, st) })
}

// moment reads a time of day or a date with a time; "" is now.
func moment(flag, v string) (time.Time, error) {
	now := time.Now()
	if v == "" {
		return now, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, v, time.Local); err == nil {
			return t, nil
		}
	}
	if t, err := time.ParseInLocation("15:04", v, time.Local); err == nil {
		return time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, time.Local), nil
	}
	return time.Time{}, fmt.Errorf("--%s %q: write 14:05, or \"2026-03-31 14:05\"", flag, v)
}

type recordMouldCmd struct {
	recordsFlag
	Name     string `arg:"" optional:"" help:"What its label says; left out: show the moulds."`
	ID       string `placeholder:"ID" help:"An id of your own."`
	Job      string `placeholder:"NAME" help:"The job it was made by: the part's name."`
	Version  string `placeholder:"TEXT" help:"Version of the mould."`
	Family   string `placeholder:"TEXT" help:"Family of mould."`
	Made     string `placeholder:"DATE" help:"Day it was made; left out: today."`
	Expected int    `placeholder:"N" help:"Shots it is expected to last."`
	Notes    string `placeholder:"TEXT" help:"Anything worth keeping."`
}

func (c recordMouldCmd) Run(s *session) error {
	if c.Name == "" {
		return c.show(s)
	}
	if c.Made == "" {
		c.Made = time.Now().Format("2006-01-02")
	}
	m := &record.Mould{Head: record.Head{ID: c.ID}, Name: c.Name, Job: c.Job, Version: c.Version, Family: c.Family, MadeOn: record.Date(c.Made), ExpectedShots: c.Expected, Notes: c.Notes}
	return c.add(s, m, &m.ID)
}

func (c recordMouldCmd) show(s *session) error {
	lives := []record.Life{}
	err := c.read(s, func(r *record.Reader, _ *record.Store) error {
		moulds, err := r.Moulds()
		if err != nil {
			return err
		}
		for _, m := range moulds {
			l, err := r.MouldLife(m.ID)
			if err != nil {
				return err
			}
			lives = append(lives, l)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return s.result(map[string]any{"moulds": lives}, func(w io.Writer) {
		table(w, func(w io.Writer) {
			fmt.Fprintln(w, "ID\tNAME\tGOOD\tMENDED\tSCRAP\tIN MOULD\tLIFE")
			for _, l := range lives {
				fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%d\t%s\n", l.Mould, l.Name, l.Good, l.Mended, l.Scrap, l.Pending, l.Words)
			}
		})
	})
}

type recordLotCmd struct {
	recordsFlag
	libraryFlag
	Material  string  `arg:"" optional:"" help:"The material's id; left out: show the lots."`
	Component string  `arg:"" optional:"" help:"The component, as the material names it."`
	ID        string  `placeholder:"ID" help:"An id of your own."`
	Label     string  `placeholder:"TEXT" help:"Lot number on the label."`
	Expires   string  `placeholder:"DATE" help:"Its date."`
	Opened    string  `placeholder:"DATE" help:"Day it was opened."`
	DaysOpen  int     `placeholder:"N" help:"Days it keeps once opened."`
	Net       float64 `placeholder:"G" help:"What it holds when new, g; what is left is then known."`
	Notes     string  `placeholder:"TEXT" help:"Anything worth keeping."`
}

func (c recordLotCmd) Run(s *session) error {
	if c.Material == "" {
		return c.show(s)
	}
	lib, err := c.libraryFlag.open()
	if err != nil {
		return err
	}
	m, err := lib.Find(c.Material)
	if err != nil {
		return err
	}
	var names []string
	for _, p := range m.Components {
		if p.Name == c.Component {
			l := &record.Lot{Head: record.Head{ID: c.ID}, Material: c.Material, Component: c.Component, MakerLot: c.Label, ExpiresOn: record.Date(c.Expires),
				OpenedOn: record.Date(c.Opened), DaysOpenMax: c.DaysOpen, NetG: c.Net, Notes: c.Notes}
			return c.add(s, l, &l.ID)
		}
		names = append(names, fmt.Sprintf("%q", p.Name))
	}
	return fmt.Errorf("%s has no component %q; its components are %s", m.ID, c.Component, strings.Join(names, ", "))
}

func (c recordLotCmd) show(s *session) error {
	var lots []record.LotStock
	err := c.read(s, func(r *record.Reader, _ *record.Store) (err error) {
		lots, err = r.Stock(record.Today(time.Now()))
		return err
	})
	if err != nil {
		return err
	}
	return s.result(map[string]any{"lots": lots}, func(w io.Writer) {
		table(w, func(w io.Writer) {
			fmt.Fprintln(w, "ID\tMATERIAL\tCOMPONENT\tLABEL\tLEFT\tGOOD UNTIL")
			for _, l := range lots {
				until, left := string(l.LastDay), "not known"
				switch {
				case until == "":
					until = "not known"
				case l.IsPast:
					until += " (past)"
				}
				if l.IsKnown {
					left = fmt.Sprintf("%.0f g", l.LeftG)
				}
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", l.ID, l.Material, l.Component, l.MakerLot, left, until)
			}
		})
	})
}
