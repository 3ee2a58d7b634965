package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log"
	"net/http"
	"strings"
	"syscall"

	"mouldwright/internal/batch"
	"mouldwright/internal/job"
	"mouldwright/internal/membudget"
	"mouldwright/internal/mesh"
	"mouldwright/internal/record"

	"github.com/danielgtaylor/huma/v2"
)

// Problem is an error as clients get it (RFC 9457), with the place in job.toml where there is one.
type Problem struct {
	Status int      `json:"status"`
	Title  string   `json:"title"`
	Detail string   `json:"detail" doc:"What is wrong, and what to do"`
	Place  *Place   `json:"place,omitempty" doc:"Where in job.toml"`
	Errors []string `json:"errors,omitempty" doc:"Each part of the request that does not fit"`
}

// Place is a place in job.toml.
type Place struct {
	Line   int    `json:"line" doc:"From 1; 0 when the whole file is meant"`
	Column int    `json:"column"`
	Key    string `json:"key,omitempty"`
}

func (p *Problem) Error() string             { return p.Detail }
func (p *Problem) GetStatus() int            { return p.Status }
func (p *Problem) ContentType(string) string { return "application/problem+json" }

func init() {
	// huma's own errors, such as a body that does not fit its schema, take the same form.
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		p := &Problem{Status: status, Title: http.StatusText(status), Detail: msg}
		for _, e := range errs {
			if e != nil {
				p.Errors = append(p.Errors, e.Error())
			}
		}
		return p
	}
}

func problem(status int, format string, args ...any) *Problem {
	return &Problem{Status: status, Title: http.StatusText(status), Detail: fmt.Sprintf(format, args...)}
}

// asProblem sorts an error into the statuses. Paths of this machine are cut from the words.
func (s *Server) asProblem(err error) error {
	var known *Problem
	var file *job.FileError
	var limit *mesh.LimitError
	var batchFile *batch.FileError
	var stop *record.HardStopError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &known):
		return known
	case errors.As(err, &file):
		p := problem(http.StatusUnprocessableEntity, "%s", file.Words)
		p.Place = &Place{file.Line, file.At, file.Key}
		return p
	case errors.As(err, &batchFile):
		p := problem(http.StatusUnprocessableEntity, "%s", s.hidePaths(batchFile.Words))
		p.Place = &Place{batchFile.Line, batchFile.At, batchFile.Key}
		return p
	case errors.As(err, &stop):
		return problem(http.StatusConflict, "%v", err)
	case errors.Is(err, record.ErrNotFound):
		return problem(http.StatusNotFound, "%s", s.hidePaths(err.Error()))
	case errors.Is(err, errNoBatch):
		return problem(http.StatusNotFound, "there is no such batch in the folder of jobs")
	case errors.Is(err, errNoJob):
		return problem(http.StatusNotFound, "there is no such job in the folder of jobs")
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return problem(http.StatusServiceUnavailable, "it took too long, or the server is being stopped; try again")
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return problem(http.StatusInsufficientStorage, "%s", s.hidePaths(err.Error()+"; the server's disk is full: make room there and try again"))
	case errors.Is(err, fs.ErrNotExist):
		return problem(http.StatusNotFound, "%s", s.hidePaths(err.Error()))
	case errors.Is(err, errChanged), errors.Is(err, ErrTaskBusy):
		return problem(http.StatusConflict, "%v", err)
	case errors.Is(err, ErrQueueFull), errors.Is(err, membudget.ErrCrowded), errors.Is(err, errStagingFull):
		return problem(http.StatusServiceUnavailable, "%v", err)
	case errors.Is(err, errTooLarge):
		return problem(http.StatusRequestEntityTooLarge, "%v", err)
	case errors.As(err, &limit):
		return problem(http.StatusRequestEntityTooLarge, "%s", s.hidePaths(err.Error()))
	}
	return problem(http.StatusUnprocessableEntity, "%s", s.hidePaths(err.Error()))
}

// hidePaths shortens paths below the folder of jobs to what follows it.
func (s *Server) hidePaths(words string) string {
	return strings.NewReplacer(s.work.dir+"/", "", s.staged.dir+"/", "").Replace(words)
}

func logFault(r *http.Request, p any, stack []byte) {
	log.Printf("internal fault in %s %q: %v\n%s", r.Method, r.URL.Path, p, stack)
}
