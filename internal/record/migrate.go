package record

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/*.sql
var migrations embed.FS

// migrateTries: two processes that open new records at once may trip over each other in SQLite, which
// has no lock around the whole of a migration; the second finds the work done when it tries again.
const migrateTries = 5

// migrate brings the tables up to date, and refuses those of a newer program.
func (s *Store) migrate(ctx context.Context) error {
	dir, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	d, opts := goose.DialectSQLite3, []goose.ProviderOption{goose.WithDisableGlobalRegistry(true)}
	if s.dialect.lock != "" {
		locker, err := lock.NewPostgresSessionLocker()
		if err != nil {
			return err
		}
		d, opts = goose.DialectPostgres, append(opts, goose.WithSessionLocker(locker))
	}
	p, err := goose.NewProvider(d, s.write, dir, opts...)
	if err != nil {
		return err
	}
	for try := 1; ; try++ {
		if err = upgrade(ctx, p); err == nil || try == migrateTries || ctx.Err() != nil || errors.Is(err, ErrNewer) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Duration(try) * 50 * time.Millisecond):
		}
	}
}

func upgrade(ctx context.Context, p *goose.Provider) error {
	have, want, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read the version of the tables: %w", err)
	}
	if have > want {
		return fmt.Errorf("tables of version %d, this program knows up to %d: %w", have, want, ErrNewer)
	}
	if have == want {
		return nil
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring the tables up to date: %w", err)
	}
	return nil
}
