package record

import (
	"errors"
	"fmt"
	"strings"
)

// ErrNotFound says that there is no record of that kind and id.
var ErrNotFound = errors.New("not found")

// ErrDone says that a write with the same Entry.Key was acknowledged before: there is nothing to do.
var ErrDone = errors.New("already written by an earlier try")

// ErrNewer says that the records were written by a newer version of the program.
var ErrNewer = errors.New("the records were written by a newer version of this program; update it")

// ErrDamaged says that records, a photo or a backup do not match their checksums.
var ErrDamaged = errors.New("damaged")

// InputError is one thing wrong with a record: where, what, and what to do.
type InputError struct {
	Kind, ID, Field string
	What, Do        string
}

func (e *InputError) Error() string {
	where := e.Kind
	if e.ID != "" {
		where += " " + e.ID
	}
	if e.Field != "" {
		where += ", " + e.Field
	}
	return fmt.Sprintf("%s: %s; %s", where, e.What, e.Do)
}

// DeviationError lists what is off with a mix. The same mix is taken with a reason in Deviation.
type DeviationError struct {
	Mix  string
	What []string
}

func (e *DeviationError) Error() string {
	name := "the mix"
	if e.Mix != "" {
		name += " " + e.Mix
	}
	return fmt.Sprintf("%s is off: %s; discard it, or give the reason for using it all the same as its deviation", name, strings.Join(e.What, "; "))
}

// HardStopError says that hard stops before a step are not signed.
type HardStopError struct {
	Run, Before string
	Open        []RunStep
}

func (e *HardStopError) Error() string {
	titles := make([]string, len(e.Open))
	for i, s := range e.Open {
		titles[i] = fmt.Sprintf("%q (%s)", s.Title, s.Step)
	}
	return fmt.Sprintf("run %s: %s waits for hard stops that nobody signed: %s; do them and sign them, or sign each as skipped with the reason",
		e.Run, e.Before, strings.Join(titles, ", "))
}
