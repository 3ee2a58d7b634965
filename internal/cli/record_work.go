package cli

import (
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"mouldwright/internal/material"
	"mouldwright/internal/record"
)

type recordMixCmd struct {
	recordsFlag
	libraryFlag
	Material  string   `arg:"" help:"The material's id."`
	Part      []string `required:"" sep:"none" placeholder:"LOT=ASKED/WEIGHED" help:"A lot with the weights asked and weighed, g, as in lot-1=16.5/16.6. Once for each component."`
	ID        string   `placeholder:"ID" help:"An id of your own."`
	Job       string   `placeholder:"NAME" help:"The job it is for."`
	At        string   `placeholder:"TIME" help:"When the components met; left out: now."`
	Temp      *float64 `placeholder:"C" help:"Temperature, °C."`
	Humidity  *float64 `placeholder:"PCT" help:"Humidity of the air, %."`
	Deviation string   `placeholder:"TEXT" help:"The reason for using a mix that is off all the same."`
	Notes     string   `placeholder:"TEXT" help:"Anything worth keeping."`
}

func (c recordMixCmd) Run(s *session) error {
	lib, err := c.libraryFlag.open()
	if err != nil {
		return err
	}
	mat, err := lib.Find(c.Material)
	if err != nil {
		return err
	}
	at, err := moment("at", c.At)
	if err != nil {
		return err
	}
	m := &record.Mix{Head: record.Head{ID: c.ID}, Job: c.Job, Material: c.Material, MixedAt: at, TemperatureC: c.Temp, HumidityPct: c.Humidity,
		TolerancePct: mat.RatioTolerancePct, Operator: c.operator(), Deviation: c.Deviation, Notes: c.Notes}
	temp := 23.0
	if c.Temp != nil {
		temp = *c.Temp
	}
	if life, err := mat.PotLifeAt(temp); err == nil { // without one, lateness is not judged
		m.PotLifeS = &life.Seconds
	}
	for _, p := range c.Part {
		q, err := parseMixPart(p)
		if err != nil {
			return err
		}
		m.Parts = append(m.Parts, q)
	}
	err = c.write(s, "", func(tx *record.Tx, _ *record.Store) error {
		for i := range m.Parts {
			var l record.Lot
			if err := tx.Get(&l, m.Parts[i].Lot); err != nil {
				return err
			}
			m.Parts[i].Component = l.Component
		}
		if err := askedAsTheRatio(mat, m); err != nil {
			return err
		}
		return tx.Add(m)
	})
	if err != nil {
		return err
	}
	return s.result(m, func(w io.Writer) { fmt.Fprintln(w, m.ID) })
}

// askedAsTheRatio refuses a mix that lacks a component or was asked for in another ratio, unless a reason
// is given.
func askedAsTheRatio(mat *material.Material, m *record.Mix) error {
	asked := map[string]float64{}
	for _, p := range m.Parts {
		asked[p.Component] += p.AskedG
	}
	err := mat.CheckAsked(asked)
	if err == nil || m.Deviation != "" {
		return nil
	}
	return fmt.Errorf("%w; correct --part, or give the reason with --deviation", err)
}

func parseMixPart(s string) (record.MixPart, error) {
	lot, weights, _ := strings.Cut(s, "=")
	asked, weighed, _ := strings.Cut(weights, "/")
	a, err1 := strconv.ParseFloat(asked, 64)
	b, err2 := strconv.ParseFloat(weighed, 64)
	if lot == "" || err1 != nil || err2 != nil {
		return record.MixPart{}, fmt.Errorf("--part %q: write LOT=ASKED/WEIGHED in g, as in lot-1=16.5/16.6", s)
	}
	return record.MixPart{Lot: lot, AskedG: a, WeighedG: b}, nil
}

type recordStartCmd struct {
	recordsFlag
	benchFlags
	Folder string `arg:"" help:"The job folder."`
	Mould  string `placeholder:"ID" help:"The mould that is filled."`
}

func (c recordStartCmd) Run(s *session) error {
	_, plan, err := c.plan(c.Folder)
	if err != nil {
		return err
	}
	run, err := plan.Run(c.Mould, c.operator(), time.Now())
	if err != nil {
		return err
	}
	if err := c.write(s, "", func(tx *record.Tx, _ *record.Store) error { return tx.Add(run) }); err != nil {
		return err
	}
	err = s.result(run, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %d steps\n", run.ID, len(run.Steps))
		printRunSteps(w, run.Steps, nil)
	})
	if err == nil {
		s.hint("mouldwright record sign %s %s", run.ID, run.Steps[0].Step)
	}
	return err
}

func printRunSteps(w io.Writer, list []record.RunStep, signed []record.SignOff) {
	by := map[string]record.SignOff{}
	for _, q := range signed {
		by[q.Step] = q
	}
	table(w, func(w io.Writer) {
		for _, q := range list {
			hard, state := "", ""
			if q.Hard {
				hard = "STOP"
			}
			if sign, ok := by[q.Step]; ok {
				state = "signed by " + sign.Operator
				if sign.Skipped {
					state = "skipped by " + sign.Operator + ": " + sign.Reason
				}
			}
			fmt.Fprintf(w, "  %s\t%s\t%s\t%s\n", hard, q.Step, q.Title, state)
		}
	})
}

type recordSignCmd struct {
	recordsFlag
	RunID  string   `arg:"" name:"run" help:"The run."`
	Step   string   `arg:"" help:"The step."`
	Value  *float64 `placeholder:"N" help:"The number the step asks for."`
	Unit   string   `placeholder:"UNIT" help:"Its unit."`
	Skip   bool     `help:"The step was not done."`
	Reason string   `placeholder:"TEXT" help:"Why it was skipped; needed with --skip."`
}

func (c recordSignCmd) Run(s *session) error {
	q := &record.SignOff{Run: c.RunID, Step: c.Step, Operator: c.operator(), SignedAt: time.Now(), Value: c.Value, Unit: c.Unit, Skipped: c.Skip, Reason: c.Reason}
	return c.add(s, q, &q.ID)
}

type recordShotCmd struct {
	recordsFlag
	Mould     string   `arg:"" help:"The mould's id."`
	ID        string   `placeholder:"ID" help:"An id of your own."`
	Mix       string   `placeholder:"ID" help:"The mix it was poured of."`
	RunID     string   `name:"run" placeholder:"ID" help:"The run whose steps were signed."`
	Cavity    int      `default:"1" placeholder:"N" help:"Which cavity, from 1."`
	Poured    string   `placeholder:"TIME" help:"When it was poured; left out: now."`
	Demoulded string   `placeholder:"TIME" help:"When it was taken out."`
	Pot       *float64 `placeholder:"KPA" help:"Pressure over the air's, kPa; 0 for none."`
	Tilt      *float64 `placeholder:"DEG" help:"Tilt, degrees."`
	Cure      *float64 `placeholder:"C" help:"Cure temperature, °C."`
	Outcome   string   `enum:"good,mended,scrap,pending" default:"good" help:"good, mended, scrap or pending."`
	Weight    *float64 `placeholder:"G" help:"Weight of the casting, g."`
	Predicted *float64 `placeholder:"G" help:"Weight predicted, g."`
	Defect    []string `sep:"none" placeholder:"CODE[@PLACE]" help:"A defect, and where. May be given again. Codes: docs/record.md."`
	Photo     []string `sep:"none" type:"existingfile" placeholder:"FILE" help:"A photo. May be given again."`
	Notes     string   `placeholder:"TEXT" help:"Anything worth keeping."`
}

func (c recordShotCmd) Run(s *session) error {
	poured, err := moment("poured", c.Poured)
	if err != nil {
		return err
	}
	shot := &record.Shot{Head: record.Head{ID: c.ID}, Mould: c.Mould, Mix: c.Mix, Run: c.RunID, Cavity: c.Cavity, PouredAt: poured, PotKPa: c.Pot, TiltDeg: c.Tilt, CureC: c.Cure,
		Outcome: record.Outcome(c.Outcome), CastingG: c.Weight, PredictedG: c.Predicted, Operator: c.operator(), Notes: c.Notes}
	if c.Demoulded != "" {
		t, err := moment("demoulded", c.Demoulded)
		if err != nil {
			return err
		}
		shot.DemouldedAt = &t
	}
	for _, d := range c.Defect {
		code, place, _ := strings.Cut(d, "@")
		shot.Defects = append(shot.Defects, record.Defect{Code: code, Place: place})
	}
	err = c.write(s, "", func(tx *record.Tx, st *record.Store) error {
		if err := tx.Add(shot); err != nil {
			return err
		}
		for _, path := range c.Photo {
			p, err := keepPhoto(s, st, path)
			if err != nil {
				return err
			}
			p.Shot = shot.ID
			if err := tx.Add(&p); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return s.result(shot, func(w io.Writer) { fmt.Fprintln(w, shot.ID) })
}

func keepPhoto(s *session, st *record.Store, path string) (record.Photo, error) {
	f, err := os.Open(path)
	if err != nil {
		return record.Photo{}, err
	}
	defer f.Close()
	p, err := st.KeepPhoto(s.ctx, f)
	if err != nil {
		return p, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}
