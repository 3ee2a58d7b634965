package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/prose"
	"mouldwright/internal/record"
	"mouldwright/internal/steps"
)

type recordListCmd struct {
	recordsFlag
	What string `arg:"" optional:"" enum:"shots,mixes,runs,history" default:"shots" help:"shots, mixes, runs or history."`
	ID   string `arg:"" optional:"" help:"A mould for shots, a run for runs, a record for history."`
}

func (c recordListCmd) Run(s *session) error {
	return c.read(s, func(r *record.Reader, _ *record.Store) error {
		switch c.What {
		case "mixes":
			list, err := r.Mixes()
			return orResult(s, err, map[string]any{"mixes": list}, func(w io.Writer) { printMixes(w, list) })
		case "runs":
			return c.runs(s, r)
		case "history":
			kind, _, _ := strings.Cut(c.ID, "-")
			if strings.HasPrefix(c.ID, "sign-off") {
				kind = "sign-off"
			}
			list, err := r.History(kind, c.ID)
			if err != nil {
				return fmt.Errorf("history of %q: %w; ids of your own are found with: record export json", c.ID, err)
			}
			return s.result(map[string]any{"events": list}, func(w io.Writer) { printEvents(w, list) })
		}
		list, err := r.Shots(c.ID)
		return orResult(s, err, map[string]any{"shots": list}, func(w io.Writer) { printShots(w, list) })
	})
}

func orResult(s *session, err error, v any, text func(io.Writer)) error {
	if err != nil {
		return err
	}
	return s.result(v, text)
}

func (c recordListCmd) runs(s *session, r *record.Reader) error {
	if c.ID == "" {
		list, err := r.Runs()
		return orResult(s, err, map[string]any{"runs": list}, func(w io.Writer) {
			table(w, func(w io.Writer) {
				fmt.Fprintln(w, "ID\tJOB\tMOULD\tSTARTED\tBY\tSTEPS")
				for _, q := range list {
					fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\n", q.ID, q.Job, q.Mould, local(q.StartedAt), q.Operator, len(q.Steps))
				}
			})
		})
	}
	var run record.Run
	if err := r.Get(&run, c.ID); err != nil {
		return err
	}
	signed, err := r.SignOffs(c.ID)
	return orResult(s, err, map[string]any{"run": run, "sign_offs": signed}, func(w io.Writer) { printRunSteps(w, run.Steps, signed) })
}

func local(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

func printShots(w io.Writer, list []record.Shot) {
	table(w, func(w io.Writer) {
		fmt.Fprintln(w, "ID\tMOULD\tCAVITY\tMIX\tPOURED\tOUTCOME\tWEIGHT\tDEFECTS")
		for _, q := range list {
			var defects []string
			for _, d := range q.Defects {
				defects = append(defects, strings.TrimSuffix(d.Code+"@"+d.Place, "@"))
			}
			weight := ""
			if q.CastingG != nil {
				weight = number(*q.CastingG, 2) + " g"
			}
			fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\n", q.ID, q.Mould, q.Cavity, q.Mix, local(q.PouredAt), q.Outcome, weight, strings.Join(defects, ", "))
		}
	})
}

func printMixes(w io.Writer, list []record.Mix) {
	table(w, func(w io.Writer) {
		fmt.Fprintln(w, "ID\tMATERIAL\tMIXED\tBY\tRATIO OFF BY\tLOTS")
		for _, m := range list {
			var lots []string
			for _, p := range m.Parts {
				lots = append(lots, p.Lot)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s %%\t%s\n", m.ID, m.Material, local(m.MixedAt), m.Operator, number(m.RatioErrorPct(), 2), strings.Join(lots, ", "))
		}
	})
}

func printEvents(w io.Writer, list []record.Event) {
	for _, e := range list {
		fmt.Fprintf(w, "%d  %s  %s by %s", e.Seq, local(e.At), e.Action, e.Operator)
		if e.Reason != "" {
			fmt.Fprintf(w, ": %s", e.Reason)
		}
		fmt.Fprintf(w, "\n   %s\n", e.Body)
	}
}

type recordCausesCmd struct {
	recordsFlag
	Shot   string `arg:"" help:"The casting."`
	Defect string `arg:"" help:"The defect's code."`
	Folder string `arg:"" optional:"" help:"The job folder, whose geometry counts as evidence."`
	All    bool   `help:"Show every possible cause, not the five likeliest."`
}

const causesShown = 5

func (c recordCausesCmd) Run(s *session) error {
	var facts record.JobFacts
	if c.Folder != "" {
		j, err := steps.ReadJob(c.Folder)
		if err != nil {
			return err
		}
		facts = steps.Facts(j.Report, j.Material)
	}
	return c.read(s, func(r *record.Reader, _ *record.Store) error {
		list, err := r.LikelyCauses(c.Shot, c.Defect, facts)
		if err != nil {
			return err
		}
		if !c.All && len(list) > causesShown {
			list = list[:causesShown]
		}
		return s.result(map[string]any{"causes": list}, func(w io.Writer) {
			for i, l := range list {
				fmt.Fprintf(w, "%d. %s\n", i+1, prose.Wrap(fmt.Sprintf("%s (score %s; a rank, no probability)", l.Words, number(l.Score, 1)), "   "))
				for _, part := range []struct {
					name  string
					lines []string
				}{{"for", l.For}, {"against", l.Against}, {"why", []string{l.Why}}, {"do", []string{l.Do}}} {
					for _, line := range part.lines {
						fmt.Fprintf(w, "   %-8s %s\n", part.name, prose.Wrap(line, "            "))
					}
				}
			}
			fmt.Fprintln(w, "\nCauses and their weights are common practice, no source; the evidence is this casting's and this job's own.")
		})
	})
}

type recordExportCmd struct {
	recordsFlag
	Form string `arg:"" enum:"csv,xlsx,json" help:"csv, xlsx or json."`
	Out  string `arg:"" type:"path" help:"The file to write; for csv a folder, which gets a file for each table."`
}

func (c recordExportCmd) Run(s *session) error {
	var files []string
	err := c.read(s, func(r *record.Reader, _ *record.Store) error {
		put := func(path string, write func(io.Writer) error) error {
			files = append(files, path)
			return atomicfile.Write(path, write)
		}
		switch c.Form {
		case "xlsx":
			return put(c.Out, r.WriteXLSX)
		case "json":
			return put(c.Out, r.WriteJSON)
		}
		if err := makeFolder(c.Out); err != nil {
			return err
		}
		for _, t := range record.ExportTables() {
			if err := put(filepath.Join(c.Out, t+".csv"), func(w io.Writer) error { return r.WriteCSV(w, t) }); err != nil {
				return err
			}
		}
		return nil
	})
	return orResult(s, err, map[string]any{"files": files}, func(w io.Writer) { fmt.Fprintln(w, strings.Join(files, "\n")) })
}
