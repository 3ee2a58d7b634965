package tasks

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"mouldwright/internal/sqlitefile"

	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
)

type sqlite struct {
	riverSide[*sql.Tx]
	w, r *sql.DB
}

func openSQLite(ctx context.Context, path string) (engine, error) {
	w, r, err := sqlitefile.Open(ctx, path, sqlitefile.Normal) // River wants one writer too
	if err != nil {
		return nil, err
	}
	return &sqlite{w: w, r: r}, nil
}

func (s *sqlite) read() *sql.DB { return s.r }
func (s *sqlite) now() string   { return "unixepoch('subsec')" }
func (s *sqlite) close() error  { return errors.Join(s.r.Close(), s.w.Close()) }

func (s *sqlite) open(cfg *river.Config) (err error) {
	s.client, err = river.NewClient(riversqlite.New(s.w), cfg)
	return err
}

// migrateTries: two processes that open a new file at once may trip over each other; the second finds
// the work done when it tries again.
const migrateTries = 5

func (s *sqlite) migrate(ctx context.Context) error {
	for try := 1; ; try++ {
		err := s.migrateOnce(ctx)
		if err == nil || try == migrateTries || ctx.Err() != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Duration(try) * 50 * time.Millisecond):
		}
	}
}

func (s *sqlite) migrateOnce(ctx context.Context) error {
	m, err := rivermigrate.New(riversqlite.New(s.w), &rivermigrate.Config{Logger: quietLog})
	if err != nil {
		return err
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("bring the tables of the line up to date: %w", err)
	}
	return upgrade(ctx, goose.DialectSQLite3, s.w)
}

func (s *sqlite) write(ctx context.Context, do func(tx) error) error {
	t, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := do(sqliteTx{s, t}); err != nil {
		return errors.Join(err, t.Rollback())
	}
	return t.Commit()
}

type sqliteTx struct {
	s *sqlite
	t *sql.Tx
}

func (x sqliteTx) exec(ctx context.Context, query string, args ...any) (int64, error) {
	res, err := x.t.ExecContext(ctx, withNow(x.s, query), args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

func (x sqliteTx) row(ctx context.Context, query string, args ...any) scanner {
	return x.t.QueryRowContext(ctx, withNow(x.s, query), args...)
}

func (x sqliteTx) enqueue(ctx context.Context, task, queue string) (int64, error) {
	return x.s.enqueue(ctx, x.t, task, queue)
}

func (x sqliteTx) drop(ctx context.Context, ticket int64) error { return x.s.drop(ctx, x.t, ticket) }
