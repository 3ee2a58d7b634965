package tasks

import (
	"bufio"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"mouldwright/internal/tempdir"
)

const (
	// chunkBytes keeps one row small enough for a database's messages.
	chunkBytes = 1 << 20
	// MostFileBytes bounds one stored file.
	MostFileBytes = 2 << 30
)

// ErrTooLarge says that a file has more than MostFileBytes.
var ErrTooLarge = errors.New("larger than the database may take")

// Put stores what write writes, and gives its digest. The same bytes are stored once. A file that no task
// holds is removed after an hour.
func (q *Queue) Put(ctx context.Context, write func(io.Writer) error) (digest string, err error) {
	f, err := tempdir.File("file")
	if err != nil {
		return "", fmt.Errorf("store a file: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	h, buf := sha256.New(), bufio.NewWriterSize(f, chunkBytes)
	count := &counted{w: io.MultiWriter(buf, h)}
	if err := errors.Join(write(count), buf.Flush()); err != nil {
		return "", fmt.Errorf("store a file: %w", err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return "", fmt.Errorf("store a file: %w", err)
	}
	digest = hex.EncodeToString(h.Sum(nil))
	if err := q.e.write(ctx, func(t tx) error { return putChunks(ctx, t, digest, count.n, f) }); err != nil {
		return "", fmt.Errorf("store a file: %w", err)
	}
	return digest, nil
}

func putChunks(ctx context.Context, t tx, digest string, size int64, f io.Reader) error {
	// Another process may store the same file at this moment: the second waits here for the first.
	n, err := t.exec(ctx, "INSERT INTO task_files (digest, bytes, used) VALUES ($1, $2, {now}) ON CONFLICT (digest) DO NOTHING", digest, size)
	if err != nil {
		return err
	}
	if n == 0 {
		_, err := t.exec(ctx, "UPDATE task_files SET used = {now} WHERE digest = $1", digest)
		return err
	}
	buf := make([]byte, chunkBytes)
	for i := 0; ; i++ {
		got, err := io.ReadFull(f, buf)
		if got > 0 {
			if _, err := t.exec(ctx, "INSERT INTO task_chunks (digest, n, body) VALUES ($1, $2, $3)", digest, i, buf[:got]); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

type counted struct {
	w io.Writer
	n int64
}

func (c *counted) Write(p []byte) (int, error) {
	if c.n+int64(len(p)) > MostFileBytes {
		return 0, fmt.Errorf("%w (%d MB)", ErrTooLarge, MostFileBytes>>20)
	}
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// Get writes a stored file to w and makes sure that it is whole.
func (q *Queue) Get(ctx context.Context, digest string, w io.Writer) error {
	h := sha256.New()
	both := io.MultiWriter(w, h)
	for n := 0; ; n++ {
		var body []byte
		err := q.e.read().QueryRowContext(ctx, "SELECT body FROM task_chunks WHERE digest = $1 AND n = $2", digest, n).Scan(&body)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			return fmt.Errorf("fetch a file: %w", err)
		}
		if _, err := both.Write(body); err != nil {
			return fmt.Errorf("fetch a file: %w", err)
		}
	}
	if hex.EncodeToString(h.Sum(nil)) != digest {
		return fmt.Errorf("fetch a file: %.12s…: %w", digest, ErrDamaged)
	}
	return nil
}
