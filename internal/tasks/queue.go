package tasks

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"mouldwright/internal/record"
)

// Options of a queue. The zero value submits and watches only.
type Options struct {
	Space   string // tasks of other spaces are out of sight, though a worker does them
	Version string // of the program: only workers of the same version do its tasks

	// Handlers do the work, by kind of task. nil: this process does none.
	Handlers map[string]Handler
	AtOnce   int // tasks at work at once in this process; 0 is 1
	// Refusal tells an error that is an answer from a fault.
	Refusal func(error) bool
	// Collect takes what came of a task of this space to where it belongs. It is called again when it
	// fails, also after a restart, so twice must be as good as once.
	Collect func(ctx context.Context, t *Task) error

	Log *slog.Logger // nil is silent
}

// Handler does one task. Its context ends when the task is cancelled, when this process is about to end,
// or when the task has gone to another worker.
type Handler func(ctx context.Context, t *Task) error

// Queue is an open line of work, safe for use by many goroutines.
type Queue struct {
	e      engine
	opt    Options
	line   string // River's name of the line for this version
	worker string
	shared bool            // other processes may work on the same line
	told   map[string]bool // versions whose work is left lying; tend's own

	ctx    context.Context // ends with Close
	stop   context.CancelFunc
	tended sync.WaitGroup
	nudge  chan struct{}

	mu     sync.Mutex
	atWork map[string]context.CancelCauseFunc // tasks in this process

	strikes map[string]int // failed collections; tend's own
	changes atomic.Int64   // of this space by this process
	asked   sync.Mutex     // guards what follows, and lets one at a time ask the database
	known   []State        // of this space, the last first
	knownAt time.Time
	version int64 // changes when known was read
}

// Open opens a line of work and brings its tables up to date. The dsn is the path of an SQLite file, made
// when it does not exist, or a PostgreSQL address as in postgres://host/database. With handlers, work
// begins at once.
func Open(ctx context.Context, dsn string, opt Options) (*Queue, error) {
	open := openSQLite
	if record.IsPostgres(dsn) {
		open = openPostgres
	}
	e, err := open(ctx, dsn)
	if err != nil {
		return nil, fmt.Errorf("open the line of work %s: %w", record.Shown(dsn), err)
	}
	q, err := begin(ctx, e, opt, record.IsPostgres(dsn))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open the line of work %s: %w", record.Shown(dsn), err), e.close())
	}
	return q, nil
}

func begin(ctx context.Context, e engine, opt Options, shared bool) (*Queue, error) {
	opt.AtOnce = cmp.Or(opt.AtOnce, 1)
	if opt.Refusal == nil {
		opt.Refusal = func(error) bool { return false }
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	q := &Queue{e: e, opt: opt, line: lineName(opt.Version), worker: workerName(), shared: shared, told: map[string]bool{}, nudge: make(chan struct{}, 1),
		atWork: map[string]context.CancelCauseFunc{}, strikes: map[string]int{}}
	if err := e.migrate(ctx); err != nil {
		return nil, err
	}
	if err := e.open(riverConfig(opt, q.line, &ticketWorker{q: q})); err != nil {
		return nil, err
	}
	q.ctx, q.stop = context.WithCancel(context.WithoutCancel(ctx))
	if len(opt.Handlers) > 0 {
		if err := e.start(q.ctx); err != nil {
			q.stop()
			return nil, err
		}
	}
	if err := q.register(q.ctx); err != nil {
		q.stop()
		if len(opt.Handlers) > 0 {
			err = errors.Join(err, e.stop(ctx))
		}
		return nil, err
	}
	q.tended.Go(q.tend)
	return q, nil
}

// closeWithin bounds how long Close waits for work to notice that it is to end.
const closeWithin = 20 * time.Second

// Close gives tasks at work in this process back to the line, for another worker or the next start, and
// closes the database.
func (q *Queue) Close() error {
	var err error
	if len(q.opt.Handlers) > 0 {
		end, cancel := context.WithTimeout(context.Background(), closeWithin)
		defer cancel()
		if err = q.e.stop(end); err != nil {
			err = fmt.Errorf("end the work in hand: %w", err)
		}
	}
	q.stop()
	q.tended.Wait()
	bye, cancel := context.WithTimeout(context.Background(), settleWithin)
	defer cancel()
	if gone := q.unregister(bye); gone != nil {
		q.opt.Log.Warn("say that this worker is gone", "error", gone) // it is forgotten after a while
	}
	return errors.Join(err, q.e.close())
}

// lineName is River's name of the line for a version of the program. It takes few characters, and
// versions hold others.
func lineName(version string) string {
	h := sha256.Sum256([]byte(version))
	return "v" + hex.EncodeToString(h[:6])
}

func workerName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	return fmt.Sprintf("%s/%d/%s", host, os.Getpid(), newID()[:4])
}

func newID() string {
	b := make([]byte, 8)
	_, _ = rand.Read(b) // never fails; see crypto/rand
	return hex.EncodeToString(b)
}

// Task is a task as its handler, or Collect, sees it.
type Task struct {
	ID, Job, Kind, Params string
	Outcome               string // for Collect: what the task will have ended in

	q             *Queue
	input, result string
	collect       bool

	mu    sync.Mutex
	stage string
	share float64
}

// Progress says what is being done and how much of the whole is done, 0 to 1.
func (t *Task) Progress(stage string, share float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.stage, t.share = stage, max(t.share, min(1, share))
}

func (t *Task) progress() (string, float64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.stage, t.share
}

// Input gives w the file that the task came with.
func (t *Task) Input(ctx context.Context, w io.Writer) error { return t.q.Get(ctx, t.input, w) }

// Result gives w what the task's handler kept.
func (t *Task) Result(ctx context.Context, w io.Writer) error { return t.q.Get(ctx, t.result, w) }

// Keep stores what came of the task. It counts once the handler has returned. With collect the task is
// not over before its owner's Collect has it.
func (t *Task) Keep(ctx context.Context, collect bool, write func(io.Writer) error) (err error) {
	t.result, err = t.q.Put(ctx, write)
	t.collect = collect
	return err
}
