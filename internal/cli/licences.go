package cli

import (
	"fmt"
	"io"
	"strings"

	"mouldwright/internal/licences"
)

type licencesCmd struct {
	Work string `arg:"" optional:"" help:"Show only texts for works whose name holds this, such as gonum; left out: all."`
	List bool   `help:"Name the works and their licences alone, without the texts."`
}

func (c licencesCmd) Run(s *session) error {
	found, err := licences.Of(c.Work)
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return fmt.Errorf("nothing in this program is called %q; see: mouldwright licences --list", c.Work)
	}
	return s.result(found, func(w io.Writer) {
		for i, t := range found {
			kind := t.Kind
			if kind == "" {
				kind = "notice"
			}
			fmt.Fprintf(w, "%s: %s\n", kind, strings.Join(t.Works, ", "))
			if c.List {
				continue
			}
			fmt.Fprintf(w, "\n%s\n", t.Text)
			if i+1 < len(found) {
				fmt.Fprintf(w, "%s\n\n", strings.Repeat("-", 80))
			}
		}
	})
}
