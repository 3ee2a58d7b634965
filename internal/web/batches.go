package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/batch"
	"mouldwright/internal/record"

	"github.com/pelletier/go-toml/v2"
)

// batchOut is where a batch's results lie, in its folder.
const batchOut = "out"

var errNoBatch = errors.New("no such batch")

// batchFolder is the path of a batch that exists: a folder beside the jobs with batch.toml in it.
func (w *workspace) batchFolder(id string) (string, error) {
	if !w.holds(id, batch.FileName) {
		return "", errNoBatch
	}
	if err := w.ownResults(id + "/" + batchOut); err != nil {
		return "", err
	}
	return filepath.Join(w.dir, id), nil
}

// batches lists the batches by name.
func (w *workspace) batches() ([]string, error) {
	entries, err := fs.ReadDir(w.root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("read the folder of jobs: %w", err)
	}
	var ids []string
	for _, e := range entries {
		if _, err := w.batchFolder(e.Name()); err == nil {
			ids = append(ids, e.Name())
		}
	}
	return ids, nil
}

// createBatch makes a batch folder called after name.
func (w *workspace) createBatch(name string, text []byte) (id string, err error) {
	return w.makeFolder(name, func(folder string) error { return w.writeBatch(folder, text) })
}

// writeBatch writes a batch.toml that is sound.
func (w *workspace) writeBatch(folder string, text []byte) error {
	if _, err := w.parseBatch(folder, text); err != nil {
		return err
	}
	return atomicfile.Write(filepath.Join(folder, batch.FileName), func(f io.Writer) error {
		_, err := f.Write(text)
		return err
	})
}

// parseBatch reads a batch whose tools name jobs of this workspace alone.
func (w *workspace) parseBatch(folder string, text []byte) (*batch.Bench, error) {
	var named struct {
		Tools []struct {
			Job string `toml:"job"`
		} `toml:"tool"`
	}
	if err := toml.Unmarshal(text, &named); err == nil { // else Parse says what is wrong, and where
		for _, t := range named.Tools {
			if t.Job == "" {
				continue
			}
			path := filepath.Clean(filepath.Join(folder, t.Job))
			_, err := w.folder(filepath.Base(path))
			if filepath.IsAbs(t.Job) || filepath.Dir(path) != w.dir || err != nil {
				return nil, problem(http.StatusUnprocessableEntity, "tool.job %q is no job of this folder; write it as \"../NAME\"", t.Job)
			}
		}
	}
	return batch.Parse(filepath.Join(folder, batch.FileName), text)
}

func (w *workspace) readBatch(id string) (folder string, text []byte, err error) {
	if folder, err = w.batchFolder(id); err != nil {
		return "", nil, err
	}
	f, err := os.Open(filepath.Join(folder, batch.FileName))
	if err != nil {
		return "", nil, fmt.Errorf("read the batch: %w", err)
	}
	defer f.Close()
	if text, err = io.ReadAll(io.LimitReader(f, maxDecisions+1)); err != nil {
		return "", nil, fmt.Errorf("read the batch: %w", err)
	}
	if len(text) > maxDecisions {
		return "", nil, fmt.Errorf("batch.toml is larger than %d bytes; that is no such file", maxDecisions)
	}
	return folder, text, nil
}

// planBatch plans a batch from its file, and from what happened so far: the records when it names moulds
// in them, else the note beside it.
func (s *Server) planBatch(ctx context.Context, id string, seed uint64) (*batch.Report, error) {
	folder, text, err := s.work.readBatch(id)
	if err != nil {
		return nil, err
	}
	b, err := s.work.parseBatch(folder, text)
	if err != nil {
		return nil, err
	}
	out := filepath.Join(folder, batchOut)
	opt := batch.Options{Seed: seed}
	if opt.Before, err = s.happened(ctx, folder, out, b); err != nil {
		return nil, err
	}
	plan, err := batch.Make(ctx, b, opt)
	if err != nil {
		return nil, err
	}
	r, err := b.NewReport(ctx, plan, opt.Before)
	if err != nil {
		return nil, err
	}
	_, err = batch.WriteFiles(out, b, r)
	return r, err
}

func (s *Server) happened(ctx context.Context, folder, out string, b *batch.Bench) (h *batch.History, err error) {
	last, err := batch.ReadReport(filepath.Join(out, batch.PlanFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if b.HasRecords() {
		var plan *batch.Plan
		if last != nil {
			plan = last.Plan
		}
		err = s.books.read(ctx, func(r *record.Reader) error {
			h, err = batch.FromRecords(r, b, plan, time.Now())
			return err
		})
		return h, err
	}
	note := filepath.Join(folder, batch.HappenedFile)
	if _, err := os.Stat(note); errors.Is(err, fs.ErrNotExist) || last == nil {
		return nil, nil
	}
	return batch.LoadHistory(note, b, last.Plan)
}

// batchFile opens a result of a batch by its name; it has no folders.
func (w *workspace) batchFile(id, name string) (*os.File, error) {
	if _, err := w.batchFolder(id); err != nil || strings.Contains(name, "/") {
		return nil, fs.ErrNotExist
	}
	return w.openBelow(id+"/"+batchOut, name)
}
