package tasks

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

//go:embed migrations/*.sql
var migrations embed.FS

// tableVersions keeps the version of this package's tables apart from others' in the same database.
const tableVersions = "task_versions"

// engine is a database with River on it.
type engine interface {
	// write runs do in one transaction.
	write(ctx context.Context, do func(tx) error) error
	// read is for queries outside of transactions.
	read() *sql.DB
	// now is the SQL for the database's time in seconds.
	now() string
	// migrate brings River's tables and ours up to date.
	migrate(ctx context.Context) error
	// open makes the River client: after migrate, before the rest.
	open(cfg *river.Config) error
	start(ctx context.Context) error
	stop(ctx context.Context) error
	ticket(ctx context.Context, id int64) (*rivertype.JobRow, error)
	close() error
}

// tx is one transaction.
type tx interface {
	exec(ctx context.Context, query string, args ...any) (changed int64, err error)
	row(ctx context.Context, query string, args ...any) scanner
	// enqueue adds a ticket for a task.
	enqueue(ctx context.Context, task, queue string) (ticket int64, err error)
	// drop takes a ticket back; the work on it, if any, is told to stop.
	drop(ctx context.Context, ticket int64) error
}

type scanner interface{ Scan(...any) error }

// ticketArgs is what River keeps of a task.
type ticketArgs struct {
	Task string `json:"task"`
}

// Kind implements river.JobArgs.
func (ticketArgs) Kind() string { return "task" }

// riverSide is what both databases do alike.
type riverSide[T any] struct{ client *river.Client[T] }

func (r *riverSide[T]) start(ctx context.Context) error { return r.client.Start(ctx) }
func (r *riverSide[T]) stop(ctx context.Context) error  { return r.client.StopAndCancel(ctx) }

func (r *riverSide[T]) ticket(ctx context.Context, id int64) (*rivertype.JobRow, error) {
	return r.client.JobGet(ctx, id)
}

// ticketTries lets River begin a ticket anew when the database failed in between. Errors of the work
// itself are none of River's.
const ticketTries = 10

func (r *riverSide[T]) enqueue(ctx context.Context, t T, task, queue string) (int64, error) {
	added, err := r.client.InsertTx(ctx, t, ticketArgs{task}, &river.InsertOpts{Queue: queue, MaxAttempts: ticketTries})
	if err != nil {
		return 0, fmt.Errorf("put a task in line: %w", err)
	}
	return added.Job.ID, nil
}

func (r *riverSide[T]) drop(ctx context.Context, t T, ticket int64) error {
	if _, err := r.client.JobCancelTx(ctx, t, ticket); err != nil && !errors.Is(err, river.ErrNotFound) {
		return fmt.Errorf("take a task out of the line: %w", err)
	}
	return nil
}

// riverConfig is River's set-up; queue "" is for a process that only submits.
func riverConfig(opt Options, queue string, w *ticketWorker) *river.Config {
	c := &river.Config{Logger: opt.Log, JobTimeout: -1, FetchPollInterval: pollEvery, RetryPolicy: soon{}, ReindexerSchedule: never{}}
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	if len(opt.Handlers) > 0 {
		c.Workers = river.NewWorkers()
		river.AddWorker(c.Workers, w)
		c.Queues = map[string]river.QueueConfig{queue: {MaxWorkers: opt.AtOnce}}
	}
	return c
}

// pollEvery is how long a ticket may lie where the database does not tell of it.
const pollEvery = 250 * time.Millisecond

// soon tries a ticket again after a second: only trouble with the database brings it here.
type soon struct{}

func (soon) NextRetry(*rivertype.JobRow) time.Time { return time.Now().Add(time.Second) }

// never leaves out River's rebuilding of indexes, which tables this small do not need.
type never struct{}

func (never) Next(t time.Time) time.Time { return t.AddDate(100, 0, 0) }

// upgrade brings our own tables up to date.
func upgrade(ctx context.Context, d goose.Dialect, db *sql.DB) error {
	dir, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(d, db, dir, goose.WithDisableGlobalRegistry(true), goose.WithTableName(tableVersions))
	if err != nil {
		return err
	}
	have, want, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read the version of the tables: %w", err)
	}
	if have > want {
		return fmt.Errorf("its tables have version %d, and this program knows up to %d; use the newer program", have, want)
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring the tables up to date: %w", err)
	}
	return nil
}

// withNow puts the database's clock into a query.
func withNow(e engine, query string) string { return strings.ReplaceAll(query, "{now}", e.now()) }

// rowsOf reads all rows of a query.
func rowsOf[T any](ctx context.Context, e engine, scan func(scanner) (T, error), query string, args ...any) (all []T, err error) {
	rows, err := e.read().QueryContext(ctx, withNow(e, query), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}
