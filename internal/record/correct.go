package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
)

// CorrectJSON corrects the fields of a record that a JSON object names, as in {"outcome": "mended"}, and
// returns the corrected record. A list is replaced whole.
func (tx *Tx) CorrectJSON(kind, id string, fields []byte) (Record, error) {
	if !known(kind) {
		return nil, fmt.Errorf("no kind of record %q; kinds are: %s", kind, strings.Join(kindOrder, ", "))
	}
	r := newRecord(kind)
	if err := tx.load(r, id); err != nil {
		return nil, err
	}
	head := *r.head()
	dec := json.NewDecoder(bytes.NewReader(fields))
	dec.DisallowUnknownFields()
	if err := dec.Decode(r); err != nil {
		return nil, &InputError{kind, id, "correction", err.Error(), `write the fields as JSON, as in {"notes": "chipped"}; docs/record.md lists them`}
	}
	*r.head() = head // what a record is cannot be corrected
	return r, tx.Correct(r)
}
