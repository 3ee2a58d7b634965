package record

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Verify replays every event: the chain of checksums must hold, each record's revisions must follow on
// each other, and every row must be exactly what its latest event says, no row more or less. Its errors
// wrap ErrDamaged and name the first place.
func (r *Reader) Verify() error {
	events, err := r.Events()
	if err != nil {
		return err
	}
	latest := map[string]Event{}
	prev := ""
	for i, e := range events {
		key := e.Kind + "\x00" + e.ID
		switch {
		case e.Seq != int64(i+1):
			return damaged("event %d is missing", i+1)
		case e.Prev != prev || e.Hash != e.checksum():
			return damaged("event %d (%s %s) does not match its checksum", e.Seq, e.Kind, e.ID)
		case e.Rev != latest[key].Rev+1:
			return damaged("event %d is revision %d of %s %s, after %d", e.Seq, e.Rev, e.Kind, e.ID, latest[key].Rev)
		}
		prev = e.Hash
		latest[key] = e
	}
	n := 0
	for _, kind := range kindOrder {
		recs, err := r.listOf(kind, "")
		if err != nil {
			return err
		}
		for _, rec := range recs {
			body, err := json.Marshal(rec)
			if err != nil {
				return err
			}
			e, ok := latest[kind+"\x00"+rec.head().ID]
			if !ok || !bytes.Equal(body, e.Body) {
				return damaged("%s %s is not what its latest event says", kind, rec.head().ID)
			}
			n++
		}
	}
	if n != len(latest) {
		return damaged("%d records are gone of which there are events", len(latest)-n)
	}
	return nil
}

func damaged(format string, args ...any) error {
	return fmt.Errorf("the records do not hold together: %s: %w", fmt.Sprintf(format, args...), ErrDamaged)
}
