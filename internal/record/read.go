package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Reader reads one unchanging state of the records. It is valid only inside the function that Read or
// Write calls.
type Reader struct {
	ctx context.Context
	q   querier
}

// Event is one addition or correction, kept for ever.
type Event struct {
	Seq      int64           `json:"seq"`
	At       time.Time       `json:"at"`
	Operator string          `json:"operator"`
	Action   string          `json:"action"` // "add" or "correct"
	Kind     string          `json:"kind"`
	ID       string          `json:"id"`
	Rev      int             `json:"rev"`
	Reason   string          `json:"reason,omitempty"`
	Body     json.RawMessage `json:"body"` // the whole record as it was from then on
	Prev     string          `json:"prev"`
	Hash     string          `json:"hash"`
}

// Read runs do on one unchanging state, while others may write.
func (s *Store) Read(ctx context.Context, do func(*Reader) error) error {
	tx, err := s.read.BeginTx(ctx, &s.dialect.snapshot)
	if err != nil {
		return fmt.Errorf("begin to read records: %w", err)
	}
	defer tx.Rollback() // nothing was changed
	return do(&Reader{ctx: ctx, q: tx})
}

// Moulds lists all moulds in the order they were added; the functions below do likewise.
func (r *Reader) Moulds() ([]Mould, error) { return list[Mould](r, "") }

// Lots lists all lots of material.
func (r *Reader) Lots() ([]Lot, error) { return list[Lot](r, "") }

// Absences lists when people are away.
func (r *Reader) Absences() ([]Absence, error) { return list[Absence](r, "") }

// Mixes lists all mixes.
func (r *Reader) Mixes() ([]Mix, error) { return list[Mix](r, "") }

// Runs lists all runs of steps.
func (r *Reader) Runs() ([]Run, error) { return list[Run](r, "") }

// Photos lists the photos of a casting.
func (r *Reader) Photos(shot string) ([]Photo, error) { return list[Photo](r, "shot = $1", shot) }

// SignOffs lists the sign-offs of a run.
func (r *Reader) SignOffs(run string) ([]SignOff, error) { return list[SignOff](r, "run = $1", run) }

// Shots lists all castings, or those of one mould.
func (r *Reader) Shots(mould string) ([]Shot, error) {
	if mould == "" {
		return list[Shot](r, "")
	}
	return list[Shot](r, "mould = $1", mould)
}

// ShotsOfJob lists the castings of every mould of a job.
func (r *Reader) ShotsOfJob(job string) ([]Shot, error) {
	return list[Shot](r, "mould IN (SELECT id FROM moulds WHERE job = $1)", job)
}

// LatestRuns lists the last runs of a job, at most so many, the latest first.
func (r *Reader) LatestRuns(job string, most int) ([]Run, error) {
	return latest[Run](r, "job = $1", most, job)
}

// LatestShots lists the last castings put down, at most so many, the latest first: of a mould, of every
// mould of a job, of both, or with "" for both, all.
func (r *Reader) LatestShots(mould, job string, most int) ([]Shot, error) {
	return latest[Shot](r, "($1 = '' OR mould = $1) AND ($2 = '' OR mould IN (SELECT id FROM moulds WHERE job = $2))", most, mould, job)
}

// latest reads the last records of a kind that match where, the latest first.
func latest[T any, P interface {
	*T
	Record
}](r *Reader, where string, most int, args ...any) ([]T, error) {
	where = fmt.Sprintf("seq IN (SELECT seq FROM %s WHERE %s ORDER BY seq DESC LIMIT %d)", table(P(new(T))), where, most)
	out, err := list[T, P](r, where, args...)
	slices.Reverse(out)
	return out, err
}

// DoneBy names the record that the write with a key put down first; ErrNotFound is wrapped when there was
// no such write.
func (r *Reader) DoneBy(key string) (kind, id string, err error) {
	err = r.q.QueryRowContext(r.ctx, "SELECT e.kind, e.id FROM requests q JOIN events e ON e.seq = q.seq WHERE q.key = $1", key).Scan(&kind, &id)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", fmt.Errorf("no entry %q in the records: %w", key, ErrNotFound)
	}
	if err != nil {
		return "", "", fmt.Errorf("look up the entry's key: %w", err)
	}
	return kind, id, nil
}

// Get reads one record into into, which is one of the kinds. ErrNotFound is wrapped when there is none.
func (r *Reader) Get(into Record, id string) error { return r.load(into, id) }

func (r *Reader) load(into Record, id string) error {
	cols := all(into)
	names, dest := scanTo(cols)
	err := r.q.QueryRowContext(r.ctx, fmt.Sprintf("SELECT %s FROM %s WHERE id = $1", names, table(into)), id).Scan(dest...)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("no %s %q in the records: %w", into.kind(), id, ErrNotFound)
	}
	if err != nil {
		return fmt.Errorf("read %s %s: %w", into.kind(), id, err)
	}
	return r.loadLines(map[string]Record{id: into}, into, "id = $1", id)
}

func (r *Reader) has(kind, id string) (bool, error) {
	var n int64
	err := r.q.QueryRowContext(r.ctx, "SELECT COUNT(*) FROM "+kinds[kind].table+" WHERE id = $1", id).Scan(&n)
	if err != nil {
		return false, fmt.Errorf("look up %s %s: %w", kind, id, err)
	}
	return n > 0, nil
}

func scanTo(cols []column) (names string, dest []any) {
	list := make([]string, len(cols))
	dest = make([]any, len(cols))
	for i, c := range cols {
		list[i], dest[i] = c.name, c
	}
	return strings.Join(list, ", "), dest
}

// list reads all records of a kind that match where.
func list[T any, P interface {
	*T
	Record
}](r *Reader, where string, args ...any) ([]T, error) {
	recs, err := r.listOf(P(new(T)).kind(), where, args...)
	if err != nil {
		return nil, err
	}
	out := make([]T, len(recs))
	for i, rec := range recs {
		out[i] = *rec.(P)
	}
	return out, nil
}

func (r *Reader) listOf(kind, where string, args ...any) ([]Record, error) {
	if where == "" {
		where = "1 = 1"
	}
	names, _ := scanTo(all(newRecord(kind)))
	rows, err := r.q.QueryContext(r.ctx, fmt.Sprintf("SELECT %s FROM %s WHERE %s ORDER BY seq", names, kinds[kind].table, where), args...)
	if err != nil {
		return nil, fmt.Errorf("read the %s records: %w", kind, err)
	}
	defer rows.Close()
	var out []Record
	byID := map[string]Record{}
	for rows.Next() {
		rec := newRecord(kind)
		_, dest := scanTo(all(rec))
		if err := rows.Scan(dest...); err != nil {
			return nil, fmt.Errorf("read the %s records: %w", kind, err)
		}
		out = append(out, rec)
		byID[rec.head().ID] = rec
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read the %s records: %w", kind, err)
	}
	if err := rows.Close(); err != nil {
		return nil, fmt.Errorf("read the %s records: %w", kind, err)
	}
	return out, r.loadLines(byID, newRecord(kind), where, args...)
}

// loadLines reads the lines of all the records at once; like is any record of their kind.
func (r *Reader) loadLines(byID map[string]Record, like Record, where string, args ...any) error {
	if like.lines() == nil || len(byID) == 0 {
		return nil
	}
	names, _ := scanTo(newRecord(like.kind()).lines().grow())
	query := fmt.Sprintf("SELECT parent, %s FROM %s WHERE parent IN (SELECT id FROM %s WHERE %s) ORDER BY parent, line", names, like.lines().table, table(like), where)
	rows, err := r.q.QueryContext(r.ctx, query, args...)
	if err != nil {
		return fmt.Errorf("read the lines of the %s records: %w", like.kind(), err)
	}
	defer rows.Close()
	for rows.Next() {
		var parent string
		if err := rows.Scan(append([]any{&parent}, discard(len(strings.Split(names, ", ")))...)...); err != nil {
			return fmt.Errorf("read the lines of the %s records: %w", like.kind(), err)
		}
		rec := byID[parent]
		if rec == nil {
			continue
		}
		_, dest := scanTo(rec.lines().grow())
		if err := rows.Scan(append([]any{&parent}, dest...)...); err != nil {
			return fmt.Errorf("read the lines of %s %s: %w", like.kind(), parent, err)
		}
	}
	return rows.Err()
}

// discard is n places whose values nobody wants.
func discard(n int) []any {
	out := make([]any, n)
	for i := range out {
		out[i] = new(any)
	}
	return out
}

// History lists the events of one record, oldest first.
func (r *Reader) History(kind, id string) ([]Event, error) {
	if !known(kind) {
		return nil, fmt.Errorf("no kind of record %q; kinds are: %s", kind, strings.Join(kindOrder, ", "))
	}
	return r.events("kind = $1 AND id = $2", kind, id)
}

// Events lists every event, oldest first.
func (r *Reader) Events() ([]Event, error) { return r.events("1 = 1") }

func (r *Reader) events(where string, args ...any) ([]Event, error) {
	rows, err := r.q.QueryContext(r.ctx, "SELECT seq, at, operator, action, kind, id, rev, reason, body, prev, hash FROM events WHERE "+where+" ORDER BY seq", args...)
	if err != nil {
		return nil, fmt.Errorf("read the events: %w", err)
	}
	defer rows.Close()
	var out []Event
	for rows.Next() {
		var e Event
		var body string
		if err := rows.Scan(&e.Seq, column{"at", &e.At}, &e.Operator, &e.Action, &e.Kind, &e.ID, &e.Rev, &e.Reason, &body, &e.Prev, &e.Hash); err != nil {
			return nil, fmt.Errorf("read the events: %w", err)
		}
		e.Body = json.RawMessage(body)
		out = append(out, e)
	}
	return out, rows.Err()
}
