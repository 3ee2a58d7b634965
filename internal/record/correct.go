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
	old, r := newRecord(kind), newRecord(kind)
	if err := tx.load(old, id); err != nil {
		return nil, err
	}
	head := *old.head()
	bad := func(err error) error {
		return &InputError{kind, id, "correction", err.Error(), `write the fields as JSON, as in {"notes": "chipped"}; docs/record.md lists them`}
	}
	// The fields are laid over the record's own and read into a new one: reading over a list that is
	// there would keep what the new list leaves out.
	all := map[string]json.RawMessage{}
	b, err := json.Marshal(old)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &all); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(fields, &all); err != nil {
		return nil, bad(err)
	}
	if b, err = json.Marshal(all); err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	if err := dec.Decode(r); err != nil {
		return nil, bad(err)
	}
	*r.head() = head // what a record is cannot be corrected
	return r, tx.Correct(r)
}
