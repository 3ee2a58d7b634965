package record

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// dumpTable is a table with its columns, in an order in which rows can be inserted.
type dumpTable struct {
	Table   string   `json:"table"`
	Columns []string `json:"columns"`
}

// dumpTables lists every table of the schema. Their reverse is an order in which they can be emptied.
func dumpTables() []dumpTable {
	out := []dumpTable{
		{"events", []string{"seq", "at", "operator", "action", "kind", "id", "rev", "reason", "body", "prev", "hash"}},
		{"counters", []string{"kind", "last"}},
		{"requests", []string{"key", "seq"}},
	}
	for _, k := range kindOrder {
		out = append(out, dumpTable{kinds[k].table, names(all(newRecord(k)))})
		if ls := newRecord(k).lines(); ls != nil {
			out = append(out, dumpTable{ls.table, append([]string{"parent"}, names(ls.grow())...)})
		}
	}
	return out
}

// dump writes every row of every table, and counts them.
func (r *Reader) dump(w io.Writer, counts map[string]int) error {
	buf := bufio.NewWriter(w)
	enc := json.NewEncoder(buf)
	for _, t := range dumpTables() {
		if err := enc.Encode(t); err != nil {
			return err
		}
		n, err := r.dumpRows(enc, t)
		if err != nil {
			return fmt.Errorf("table %s: %w", t.Table, err)
		}
		counts[t.Table] = n
	}
	return buf.Flush()
}

func (r *Reader) dumpRows(enc *json.Encoder, t dumpTable) (n int, err error) {
	order := map[string]string{"counters": "kind", "requests": "key", "events": "seq"}[t.Table]
	if order == "" {
		order = "id"
		if t.Columns[0] == "parent" {
			order = "parent, line"
		}
	}
	rows, err := r.q.QueryContext(r.ctx, "SELECT "+joined(t.Columns)+" FROM "+t.Table+" ORDER BY "+order)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		vals := make([]any, len(t.Columns))
		dest := make([]any, len(vals))
		for i := range vals {
			dest[i] = &vals[i]
		}
		if err := rows.Scan(dest...); err != nil {
			return n, err
		}
		line := make([]dumpValue, len(vals))
		for i, v := range vals {
			line[i] = dumpValue{v}
		}
		if err := enc.Encode(line); err != nil {
			return n, err
		}
		n++
	}
	return n, rows.Err()
}

// dumpValue is a cell. Whole numbers and floating point ones are kept apart, because a float that is a
// whole number must come back as a float: it is written as {"f": 12}.
type dumpValue struct{ v any }

// MarshalJSON implements json.Marshaler.
func (d dumpValue) MarshalJSON() ([]byte, error) {
	switch v := d.v.(type) {
	case float64:
		return json.Marshal(map[string]float64{"f": v})
	case []byte:
		return json.Marshal(string(v))
	case nil, string, int64:
		return json.Marshal(v)
	}
	return nil, fmt.Errorf("a value of type %T", d.v)
}

// UnmarshalJSON implements json.Unmarshaler.
func (d *dumpValue) UnmarshalJSON(b []byte) error {
	switch {
	case string(b) == "null":
		d.v = nil
		return nil
	case b[0] == '"':
		var s string
		d.v = &s
		err := json.Unmarshal(b, &s)
		d.v = s
		return err
	case b[0] == '{':
		var f struct {
			F *float64 `json:"f"`
		}
		if err := json.Unmarshal(b, &f); err != nil {
			return err
		}
		if f.F == nil {
			return errors.New("a value that is no number")
		}
		d.v = *f.F
		return nil
	}
	var n int64
	err := json.Unmarshal(b, &n)
	d.v = n
	return err
}

// empty deletes every row of every table.
func empty(ctx context.Context, q querier) error {
	tables := dumpTables()
	for i := len(tables) - 1; i >= 0; i-- {
		if _, err := q.ExecContext(ctx, "DELETE FROM "+tables[i].Table); err != nil {
			return fmt.Errorf("empty %s: %w", tables[i].Table, err)
		}
	}
	return nil
}

// load inserts the rows of a backup. Only the tables and columns of this program's schema are taken.
func (b *backup) load(ctx context.Context, q querier) error {
	r, err := b.files[tablesName].Open()
	if err != nil {
		return err
	}
	defer r.Close()
	dec := json.NewDecoder(r)
	tables := dumpTables()
	at := -1
	var put *sql.Stmt
	defer func() { closeStmt(put) }()
	for n := 0; ; n++ {
		var raw json.RawMessage
		if err := dec.Decode(&raw); err == io.EOF {
			break
		} else if err != nil {
			return fmt.Errorf("%s, entry %d: %v: %w", tablesName, n+1, err, ErrDamaged)
		}
		if raw[0] == '{' {
			var t dumpTable
			if err := json.Unmarshal(raw, &t); err != nil {
				return fmt.Errorf("%s, entry %d: %v: %w", tablesName, n+1, err, ErrDamaged)
			}
			at++
			if at >= len(tables) || t.Table != tables[at].Table || joined(t.Columns) != joined(tables[at].Columns) {
				return fmt.Errorf("%s, entry %d: table %q is not what is expected there: %w", tablesName, n+1, t.Table, ErrDamaged)
			}
			closeStmt(put)
			if put, err = prepareInsert(ctx, q, tables[at]); err != nil {
				return err
			}
			continue
		}
		if err := putLine(ctx, put, raw); err != nil {
			return fmt.Errorf("%s, entry %d: %w", tablesName, n+1, err)
		}
	}
	if at != len(tables)-1 {
		return fmt.Errorf("%s ends after %d tables of %d: %w", tablesName, at+1, len(tables), ErrDamaged)
	}
	return nil
}

func closeStmt(s *sql.Stmt) {
	if s != nil {
		s.Close() // its transaction reports what went wrong
	}
}

func prepareInsert(ctx context.Context, q querier, t dumpTable) (*sql.Stmt, error) {
	marks := make([]string, len(t.Columns))
	for i := range marks {
		marks[i] = fmt.Sprintf("$%d", i+1)
	}
	tx, ok := q.(*sql.Tx)
	if !ok {
		return nil, errors.New("rows are restored inside a transaction only")
	}
	return tx.PrepareContext(ctx, "INSERT INTO "+t.Table+" ("+joined(t.Columns)+") VALUES ("+joined(marks)+")")
}

func putLine(ctx context.Context, put *sql.Stmt, raw json.RawMessage) error {
	var line []dumpValue
	if err := json.Unmarshal(raw, &line); err != nil || put == nil {
		return fmt.Errorf("not a row (%v): %w", err, ErrDamaged)
	}
	args := make([]any, len(line))
	for i, v := range line {
		args[i] = v.v
	}
	_, err := put.ExecContext(ctx, args...)
	return err
}

func joined(list []string) string {
	s := ""
	for i, v := range list {
		if i > 0 {
			s += ", "
		}
		s += v
	}
	return s
}
