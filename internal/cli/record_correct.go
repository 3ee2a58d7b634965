package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/record"
)

type recordCorrectCmd struct {
	recordsFlag
	Kind   string `arg:"" enum:"mould,lot,mix,run,sign-off,shot,photo" help:"mould, lot, mix, run, sign-off, shot or photo."`
	ID     string `arg:"" help:"Its id."`
	Fields string `arg:"" help:"The fields to correct, as JSON, as in {\"outcome\": \"mended\"}."`
	Why    string `required:"" placeholder:"TEXT" help:"Why; it stays in the history with the earlier form."`
}

func (c recordCorrectCmd) Run(s *session) error {
	var r record.Record
	err := c.write(s, c.Why, func(tx *record.Tx, _ *record.Store) (err error) {
		r, err = tx.CorrectJSON(c.Kind, c.ID, []byte(c.Fields))
		return err
	})
	return orResult(s, err, r, func(w io.Writer) { fmt.Fprintf(w, "%s is corrected; its earlier form stays in the history\n", c.ID) })
}
