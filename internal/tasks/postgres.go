package tasks

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
)

var quietLog = slog.New(slog.DiscardHandler)

// Connections of one process: River keeps one to listen; the rest come and go.
const (
	postgresConns = 8
	postgresIdle  = 5 * time.Minute
)

type postgres struct {
	riverSide[pgx.Tx]
	pool *pgxpool.Pool
	db   *sql.DB // the same pool
}

func openPostgres(ctx context.Context, dsn string) (engine, error) {
	cfg, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, errors.New("the address does not parse; write postgres://USER@HOST:PORT/DATABASE") // the cause may hold the password
	}
	cfg.MaxConns, cfg.MaxConnIdleTime = postgresConns, postgresIdle
	cfg.ConnConfig.RuntimeParams["application_name"] = "mouldwright"
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, err
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("the server does not answer; is it running, and does it let you in: %w", err)
	}
	return &postgres{pool: pool, db: stdlib.OpenDBFromPool(pool)}, nil
}

func (p *postgres) read() *sql.DB { return p.db }
func (p *postgres) now() string {
	return "CAST(extract(epoch FROM clock_timestamp()) AS double precision)"
}

func (p *postgres) close() error {
	err := p.db.Close()
	p.pool.Close()
	return err
}

func (p *postgres) open(cfg *river.Config) (err error) {
	p.client, err = river.NewClient(riverpgxv5.New(p.pool), cfg)
	return err
}

// migrateLock is the number of the lock that keeps processes from migrating at once.
const migrateLock = 0x6d6f756c64 // "mould"

func (p *postgres) migrate(ctx context.Context) (err error) {
	c, err := p.pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer c.Release()
	if _, err := c.Exec(ctx, "SELECT pg_advisory_lock($1)", int64(migrateLock)); err != nil {
		return err
	}
	defer func() {
		_, e := c.Exec(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", int64(migrateLock))
		err = errors.Join(err, e)
	}()
	m, err := rivermigrate.New(riverpgxv5.New(p.pool), &rivermigrate.Config{Logger: quietLog})
	if err != nil {
		return err
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("bring the tables of the line up to date: %w", err)
	}
	return upgrade(ctx, goose.DialectPostgres, p.db)
}

func (p *postgres) write(ctx context.Context, do func(tx) error) error {
	t, err := p.pool.Begin(ctx)
	if err != nil {
		return err
	}
	if err := do(postgresTx{p, t}); err != nil {
		return errors.Join(err, t.Rollback(context.WithoutCancel(ctx)))
	}
	return t.Commit(ctx)
}

type postgresTx struct {
	p *postgres
	t pgx.Tx
}

func (x postgresTx) exec(ctx context.Context, query string, args ...any) (int64, error) {
	tag, err := x.t.Exec(ctx, withNow(x.p, query), args...)
	return tag.RowsAffected(), err
}

func (x postgresTx) row(ctx context.Context, query string, args ...any) scanner {
	return x.t.QueryRow(ctx, withNow(x.p, query), args...)
}

func (x postgresTx) enqueue(ctx context.Context, task, queue string) (int64, error) {
	return x.p.enqueue(ctx, x.t, task, queue)
}

func (x postgresTx) drop(ctx context.Context, ticket int64) error { return x.p.drop(ctx, x.t, ticket) }
