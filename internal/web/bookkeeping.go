package web

import (
	"context"
	"errors"
	"log"
	"net/http"
	"path/filepath"
	"sync"

	"mouldwright/internal/record"
)

// bookkeeping is the records of the bench, opened when they are first asked for.
type bookkeeping struct {
	dsn   string
	mu    sync.Mutex
	store *record.Store
	turn  chan struct{} // of writers
}

// RecordsFile is where records are kept when Options name no other place: inside the folder of jobs.
const RecordsFile = "records.db"

func newBookkeeping(opt Options) *bookkeeping {
	if opt.Records == "" {
		opt.Records = filepath.Join(opt.Folder, RecordsFile)
	}
	return &bookkeeping{dsn: opt.Records, turn: make(chan struct{}, 1)}
}

func (b *bookkeeping) open(ctx context.Context) (*record.Store, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.store == nil {
		s, err := record.Open(context.WithoutCancel(ctx), b.dsn, record.Options{})
		if err != nil {
			log.Print(err) // it names the place, which is no client's business
			return nil, problem(http.StatusServiceUnavailable, "the records cannot be opened; the server's own output says why")
		}
		b.store = s
	}
	return b.store, nil
}

func (b *bookkeeping) read(ctx context.Context, do func(*record.Reader) error) error {
	s, err := b.open(ctx)
	if err != nil {
		return err
	}
	return s.Read(b.unhurried(ctx), do)
}

// unhurried is the context of a statement. For one that can end, the SQLite driver starts a goroutine a
// statement, which costs where many requests are at work. Statements on the file are short, so they need
// not be stopped; the wait for a turn to write is.
func (b *bookkeeping) unhurried(ctx context.Context) context.Context {
	if record.IsPostgres(b.dsn) {
		return ctx
	}
	return context.WithoutCancel(ctx)
}

// add acknowledges one new record. A second try with the same key finds the first one done: r becomes
// what was put down then, and no error comes back, since the phone had lost the answer. scope says what is
// added to what, so that the same key means nothing elsewhere.
func (b *bookkeeping) add(ctx context.Context, scope string, e record.Entry, r record.Record) error {
	s, err := b.open(ctx)
	if err != nil {
		return err
	}
	if e.Key != "" {
		e.Key = scope + " " + e.Key
	}
	select { // there is one writer at a time
	case b.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	err = func() error {
		defer func() { <-b.turn }()
		return s.Write(b.unhurried(ctx), e, func(tx *record.Tx) error { return tx.Add(r) })
	}()
	if !errors.Is(err, record.ErrDone) {
		return err
	}
	return s.Read(b.unhurried(ctx), func(old *record.Reader) error {
		_, id, err := old.DoneBy(e.Key)
		if err != nil {
			return err
		}
		return old.Get(r, id)
	})
}

func (b *bookkeeping) close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.store == nil {
		return nil
	}
	return b.store.Close()
}
