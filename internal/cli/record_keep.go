package cli

import (
	"errors"
	"fmt"
	"io"
	"os"

	"mouldwright/internal/record"
)

func makeFolder(path string) error {
	if err := os.MkdirAll(path, 0o755); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	return nil
}

type recordBackupCmd struct {
	recordsFlag
	File string `arg:"" type:"path" help:"The backup to write, a .zip file."`
}

func (c recordBackupCmd) Run(s *session) error {
	var m record.Manifest
	err := c.read(s, func(_ *record.Reader, st *record.Store) (err error) {
		m, err = st.Backup(s.ctx, c.File)
		return err
	})
	return orResult(s, err, m, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %d events, %d castings, read back and sound\n", c.File, m.Events, m.Rows["shots"])
		printList(w, "Photos that are gone or damaged", m.NotFound)
	})
}

type recordRestoreCmd struct {
	recordsFlag
	File string `arg:"" type:"existingfile" help:"The backup."`
	Keep string `type:"path" placeholder:"FILE" help:"Where to back up the records that are there now; needed unless there are none."`
}

func (c recordRestoreCmd) Run(s *session) error {
	st, err := c.open(s.ctx)
	if err != nil {
		return err
	}
	defer st.Close() // the restore is acknowledged before this
	m, err := st.Restore(s.ctx, c.File, record.ReplaceOptions{KeepAt: c.Keep})
	if errors.Is(err, record.ErrRecordsThere) {
		err = fmt.Errorf("%w: --keep FILE, --records PLACE", err)
	}
	return orResult(s, err, m, func(w io.Writer) {
		fmt.Fprintf(w, "%s: restored %d events, %d castings\n", record.Shown(c.Records), m.Events, m.Rows["shots"])
	})
}

type recordVerifyCmd struct {
	recordsFlag
	File string `arg:"" optional:"" type:"existingfile" help:"A backup; left out: the records themselves."`
}

func (c recordVerifyCmd) Run(s *session) error {
	if c.File != "" {
		m, err := record.CheckBackup(s.ctx, c.File)
		return orResult(s, err, m, func(w io.Writer) { fmt.Fprintf(w, "%s is whole: %d events\n", c.File, m.Events) })
	}
	n := 0
	err := c.read(s, func(r *record.Reader, _ *record.Store) error {
		events, err := r.Events()
		n = len(events)
		if err != nil {
			return err
		}
		return r.Verify()
	})
	return orResult(s, err, map[string]any{"sound": true, "events": n}, func(w io.Writer) { fmt.Fprintf(w, "sound: %d events, every record as its latest event says\n", n) })
}
