package web

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"

	"mouldwright/internal/record"
)

// bookkeeping is the records of the bench, opened when they are first asked for.
type bookkeeping struct {
	dsn   string
	mu    sync.Mutex
	store *record.Store
}

// RecordsFile is where records are kept when Options name no other place: inside the folder of jobs.
const RecordsFile = "records.db"

func newBookkeeping(opt Options) *bookkeeping {
	if opt.Records == "" {
		opt.Records = filepath.Join(opt.Folder, RecordsFile)
	}
	return &bookkeeping{dsn: opt.Records}
}

func (b *bookkeeping) open(ctx context.Context) (*record.Store, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.store == nil {
		s, err := record.Open(context.WithoutCancel(ctx), b.dsn, record.Options{})
		if err != nil {
			return nil, fmt.Errorf("open the records: %w", err)
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
	return s.Read(ctx, do)
}

// write acknowledges one change. A second try with the same key finds the first one done, and is no
// error: the phone had lost the answer.
func (b *bookkeeping) write(ctx context.Context, e record.Entry, do func(*record.Tx) error) error {
	s, err := b.open(ctx)
	if err != nil {
		return err
	}
	if err := s.Write(ctx, e, do); err != nil && !errors.Is(err, record.ErrDone) {
		return err
	}
	return nil
}

func (b *bookkeeping) close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.store == nil {
		return nil
	}
	return b.store.Close()
}
