package record

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Entry says who writes and why.
type Entry struct {
	Operator string // needed
	Why      string // needed for corrections
	// Key makes a write safe to send twice: a second one with the same key changes nothing and
	// returns ErrDone. A phone that lost the answer sends the same key again.
	Key string
}

// Tx is one write in progress: all of it happens, or none. It reads its own changes. It is valid only
// inside the function that Write calls.
type Tx struct {
	Reader
	entry Entry
	now   time.Time
	wrote int
}

// querier is a transaction or a database.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// Write runs do as one transaction. When Write returns nil, everything is on the disk.
func (s *Store) Write(ctx context.Context, e Entry, do func(*Tx) error) error {
	if strings.TrimSpace(e.Operator) == "" {
		return &InputError{Kind: "entry", Field: "operator", What: "nobody signs", Do: "say who writes this"}
	}
	for _, f := range [][2]string{{"operator", e.Operator}, {"reason", e.Why}, {"key", e.Key}} {
		if err := checkText("entry", "", f[0], f[1]); err != nil {
			return err
		}
	}
	return s.inTx(ctx, func(q querier) error {
		tx := &Tx{Reader: Reader{ctx: ctx, q: q}, entry: e, now: s.now().UTC().Truncate(time.Microsecond)}
		if e.Key != "" {
			if err := tx.claim(); err != nil {
				return err
			}
		}
		if err := do(tx); err != nil {
			return err
		}
		if tx.wrote == 0 {
			return errors.New("nothing to write")
		}
		return nil
	})
}

// inTx runs do in a transaction that keeps other writers out, and commits if it returns nil.
func (s *Store) inTx(ctx context.Context, do func(querier) error) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("begin to write records: %w", err)
	}
	defer tx.Rollback() // after a commit it does nothing
	if s.dialect.lock != "" {
		if _, err := tx.ExecContext(ctx, s.dialect.lock); err != nil {
			return fmt.Errorf("begin to write records: %w", err)
		}
	}
	if err := do(tx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("write the records: %w", err)
	}
	return nil
}

// claim books the entry's key, or says that it was used.
func (tx *Tx) claim() error {
	var seq int64
	err := tx.q.QueryRowContext(tx.ctx, "SELECT seq FROM requests WHERE key = $1", tx.entry.Key).Scan(&seq)
	if err == nil {
		return fmt.Errorf("entry %q is event %d: %w", tx.entry.Key, seq, ErrDone)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("look up the entry's key: %w", err)
	}
	last, _, err := tx.lastEvent()
	if err != nil {
		return err
	}
	if _, err := tx.q.ExecContext(tx.ctx, "INSERT INTO requests (key, seq) VALUES ($1, $2)", tx.entry.Key, last+1); err != nil {
		return fmt.Errorf("book the entry's key: %w", err)
	}
	return nil
}

// Add writes a new record and sets its ID, Rev and Seq. Errors: *InputError, *DeviationError,
// *HardStopError.
func (tx *Tx) Add(r Record) error {
	h := r.head()
	if h.ID == "" {
		if err := tx.nextID(r); err != nil {
			return err
		}
	} else {
		if !validID(h.ID) {
			return &InputError{r.kind(), h.ID, "id", "the id is not usable", "use up to 64 letters, digits, '-', '_' and '.'"}
		}
		if found, err := tx.has(r.kind(), h.ID); err != nil || found {
			return either(err, &InputError{r.kind(), h.ID, "id", "there is one with this id already", "choose another id, or correct that one"})
		}
	}
	h.Rev = 1
	return tx.put(r, "add")
}

// Correct replaces a record by a corrected one with the same ID. The earlier form stays in its
// history. Entry.Why is needed.
func (tx *Tx) Correct(r Record) error {
	if strings.TrimSpace(tx.entry.Why) == "" {
		return &InputError{r.kind(), r.head().ID, "reason", "a correction has no reason", "say why the record is changed"}
	}
	old := newRecord(r.kind())
	if err := tx.load(old, r.head().ID); err != nil {
		return err
	}
	r.head().Rev, r.head().Seq = old.head().Rev+1, old.head().Seq
	if err := frozen(old, r); err != nil {
		return err
	}
	return tx.put(r, "correct")
}

// put checks a record, notes the event and writes the rows.
func (tx *Tx) put(r Record, action string) error {
	tidy(r)
	if err := tx.judge(r); err != nil {
		return err
	}
	if err := tx.event(r, action); err != nil {
		return fmt.Errorf("write %s %s: %w", r.kind(), r.head().ID, err)
	}
	if err := putRows(tx.ctx, tx.q, r, action == "add"); err != nil {
		return fmt.Errorf("write %s %s: %w", r.kind(), r.head().ID, err)
	}
	tx.wrote++
	return nil
}

// tidy brings every value to what both databases give back: times in UTC and whole microseconds, and no
// negative zero, which SQLite stores as zero.
func tidy(r Record) {
	utc := func(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }
	cols := r.columns()
	if ls := r.lines(); ls != nil {
		for _, row := range ls.rows() {
			cols = append(cols, row...)
		}
	}
	for _, c := range cols {
		switch p := c.ptr.(type) {
		case *time.Time:
			*p = utc(*p)
		case **time.Time:
			if *p != nil {
				t := utc(**p)
				*p = &t
			}
		case *float64:
			*p += 0
		case **float64:
			if *p != nil {
				v := **p + 0
				*p = &v
			}
		}
	}
}

// nextID gives the record the next free number of its kind.
func (tx *Tx) nextID(r Record) error {
	k := r.kind()
	var last int64
	err := tx.q.QueryRowContext(tx.ctx, "SELECT last FROM counters WHERE kind = $1", k).Scan(&last)
	if errors.Is(err, sql.ErrNoRows) {
		_, err = tx.q.ExecContext(tx.ctx, "INSERT INTO counters (kind, last) VALUES ($1, 0)", k)
	}
	if err != nil {
		return fmt.Errorf("number the %s: %w", k, err)
	}
	for {
		last++
		r.head().ID = fmt.Sprintf("%s-%d", k, last)
		found, err := tx.has(k, r.head().ID)
		if err != nil {
			return err
		}
		if !found {
			break
		}
	}
	if _, err := tx.q.ExecContext(tx.ctx, "UPDATE counters SET last = $1 WHERE kind = $2", last, k); err != nil {
		return fmt.Errorf("number the %s: %w", k, err)
	}
	return nil
}

// event appends to the chain of events.
func (tx *Tx) event(r Record, action string) error {
	last, prev, err := tx.lastEvent()
	if err != nil {
		return err
	}
	h := r.head()
	if action == "add" {
		h.Seq = last + 1
	}
	body, err := json.Marshal(r)
	if err != nil {
		return err
	}
	e := Event{Seq: last + 1, At: tx.now, Operator: tx.entry.Operator, Action: action, Kind: r.kind(), ID: h.ID, Rev: h.Rev,
		Reason: tx.entry.Why, Body: body, Prev: prev}
	_, err = tx.q.ExecContext(tx.ctx, `INSERT INTO events (seq, at, operator, action, kind, id, rev, reason, body, prev, hash)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		e.Seq, timeText(e.At), e.Operator, e.Action, e.Kind, e.ID, int64(e.Rev), e.Reason, string(e.Body), e.Prev, e.checksum())
	return err
}

// checksum covers everything in the event and the checksum before it.
func (e *Event) checksum() string {
	b, err := json.Marshal([]any{e.Prev, e.Seq, timeText(e.At), e.Operator, e.Action, e.Kind, e.ID, e.Rev, e.Reason, string(e.Body)})
	if err != nil {
		return "" // cannot be: these are numbers and texts
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// lastEvent is the number and checksum of the latest event; 0 and "" when there is none.
func (r *Reader) lastEvent() (seq int64, hash string, err error) {
	err = r.q.QueryRowContext(r.ctx, "SELECT seq, hash FROM events ORDER BY seq DESC LIMIT 1").Scan(&seq, &hash)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, "", nil
	}
	if err != nil {
		err = fmt.Errorf("read the latest event: %w", err)
	}
	return seq, hash, err
}

// putRows inserts or updates a record's row and its lines.
func putRows(ctx context.Context, q querier, r Record, isNew bool) error {
	if isNew {
		if err := insert(ctx, q, table(r), all(r)); err != nil {
			return err
		}
	} else {
		cols := append([]column{{"rev", &r.head().Rev}}, r.columns()...)
		sets, args := make([]string, len(cols)), make([]any, len(cols))
		for i, c := range cols {
			sets[i], args[i] = fmt.Sprintf("%s = $%d", c.name, i+1), c.stored()
		}
		query := fmt.Sprintf("UPDATE %s SET %s WHERE id = $%d", table(r), strings.Join(sets, ", "), len(cols)+1)
		if _, err := q.ExecContext(ctx, query, append(args, r.head().ID)...); err != nil {
			return err
		}
	}
	ls := r.lines()
	if ls == nil {
		return nil
	}
	if !isNew {
		if _, err := q.ExecContext(ctx, "DELETE FROM "+ls.table+" WHERE parent = $1", r.head().ID); err != nil {
			return err
		}
	}
	for _, row := range ls.rows() {
		if err := insert(ctx, q, ls.table, append([]column{{"parent", &r.head().ID}}, row...)); err != nil {
			return err
		}
	}
	return nil
}

func insert(ctx context.Context, q querier, table string, cols []column) error {
	names, marks, args := make([]string, len(cols)), make([]string, len(cols)), make([]any, len(cols))
	for i, c := range cols {
		names[i], marks[i], args[i] = c.name, fmt.Sprintf("$%d", i+1), c.stored()
	}
	_, err := q.ExecContext(ctx, fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", table, strings.Join(names, ", "), strings.Join(marks, ", ")), args...)
	return err
}

func either(err, other error) error {
	if err != nil {
		return err
	}
	return other
}
