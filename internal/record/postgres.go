package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// Connection pool: a workshop's team is a handful of people.
const (
	postgresConns = 8
	postgresIdle  = 5 * time.Minute
)

func openPostgres(ctx context.Context, dsn string, opt Options) (*Store, error) {
	cfg, err := pgx.ParseConfig(dsn)
	if err != nil {
		return nil, errors.New("the address does not parse; write postgres://USER@HOST:PORT/DATABASE") // the cause may hold the password
	}
	// Whatever the server's default, a commit is acknowledged only once it is on the disk.
	cfg.RuntimeParams["synchronous_commit"] = "on"
	cfg.RuntimeParams["application_name"] = "mouldwright"
	db := stdlib.OpenDB(*cfg)
	db.SetMaxOpenConns(postgresConns)
	db.SetConnMaxIdleTime(postgresIdle)
	var fsync string
	if err := db.QueryRowContext(ctx, "SHOW fsync").Scan(&fsync); err != nil {
		return nil, errors.Join(fmt.Errorf("the server does not answer; is it running, and does it let you in: %w", err), db.Close())
	}
	if fsync != "on" {
		return nil, errors.Join(errors.New("the server runs with fsync off: a power cut would lose records; turn it on in its settings"), db.Close())
	}
	return &Store{write: db, read: db, files: opt.FilesDir, dialect: dialect{
		name: "PostgreSQL",
		lock: "LOCK TABLE events IN EXCLUSIVE MODE", // one writer at a time, readers go on
		// A snapshot: every query of a read sees the same state.
		snapshot: sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true},
	}}, nil
}
