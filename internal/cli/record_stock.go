package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/record"
)

type recordRecallCmd struct {
	recordsFlag
	Lot string `arg:"" help:"The lot's id."`
}

func (c recordRecallCmd) Run(s *session) error {
	var found *record.Recall
	err := c.read(s, func(r *record.Reader, _ *record.Store) (err error) {
		found, err = r.Recall(c.Lot)
		return err
	})
	if err != nil {
		return err
	}
	return s.result(found, func(w io.Writer) {
		fmt.Fprintf(w, "%s (%s, %s, label %s) went into %d mixes and %d castings: %d good or mended, %d scrap, %d still in the mould.\n",
			found.Lot.ID, found.Lot.Material, found.Lot.Component, found.Lot.MakerLot, len(found.Mixes), len(found.Castings), found.Good, found.Scrap, found.Pending)
		table(w, func(w io.Writer) {
			fmt.Fprintln(w, "CASTING\tPOURED\tMOULD\tMIX\tOUTCOME")
			for _, x := range found.Castings {
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", x.ID, x.PouredAt.Local().Format("2006-01-02 15:04"), x.Mould, x.Mix, x.Outcome)
			}
		})
	})
}

type recordAwayCmd struct {
	recordsFlag
	Operator string `arg:"" optional:"" help:"Who is away, as the batch calls them; left out: show the absences."`
	From     string `arg:"" optional:"" help:"The first day, such as 2026-03-04."`
	Until    string `arg:"" optional:"" help:"The last day; left out: the first."`
	Reason   string `placeholder:"TEXT" help:"Why."`
}

func (c recordAwayCmd) Run(s *session) error {
	if c.Operator == "" {
		var list []record.Absence
		err := c.read(s, func(r *record.Reader, _ *record.Store) (err error) { list, err = r.Absences(); return err })
		if err != nil {
			return err
		}
		return s.result(map[string]any{"absences": list}, func(w io.Writer) {
			table(w, func(w io.Writer) {
				fmt.Fprintln(w, "ID\tOPERATOR\tFROM\tUNTIL\tREASON")
				for _, a := range list {
					fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", a.ID, a.Operator, a.FromDay, a.UntilDay, a.Reason)
				}
			})
		})
	}
	if c.Until == "" {
		c.Until = c.From
	}
	a := &record.Absence{Operator: c.Operator, FromDay: record.Date(c.From), UntilDay: record.Date(c.Until), Reason: c.Reason}
	return c.add(s, a, &a.ID)
}
