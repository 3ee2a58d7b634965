package steps

import (
	"fmt"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
)

// Job is a job's last good run with the materials that its steps need.
type Job struct {
	Report   *job.Report
	Material *material.Material
	Silicone *material.Material // what its soft pieces are poured of; nil where there are none
	Backfill *material.Material // what fills the gaps of a ballast; nil where there is none
	Library  *material.Library  // the general one, with the job's own entries over it
}

// ReadJob reads a job folder. A job without a mould is ErrNoMould.
func ReadJob(folder string) (*Job, error) {
	f, err := job.Load(folder)
	if err != nil {
		return nil, err
	}
	rep, err := job.LastReport(folder)
	if err != nil {
		return nil, err
	}
	if rep.Shot == nil {
		return nil, fmt.Errorf("%s: %w", folder, ErrNoMould)
	}
	j := &Job{Report: rep}
	if j.Library, err = material.Generic(); err != nil {
		return nil, err
	}
	if f.Material.Library != "" {
		own, err := material.ReadFile(filepath.Join(folder, f.Material.Library))
		if err != nil {
			return nil, err
		}
		j.Library = j.Library.Merge(own)
	}
	if j.Material, err = j.Library.Find(rep.Shot.MaterialID); err != nil {
		return nil, fmt.Errorf("%s: the material of its last run: %w", folder, err)
	}
	if len(rep.Pours) > 0 {
		if j.Silicone, err = j.Library.Find(rep.Pours[0].Shot.MaterialID); err != nil {
			return nil, fmt.Errorf("%s: the silicone of its last run: %w", folder, err)
		}
	}
	if b := rep.Ballast; b != nil && b.Backfill != nil {
		if j.Backfill, err = j.Library.Find(b.Backfill.MaterialID); err != nil {
			return nil, fmt.Errorf("%s: the backfill of its last run: %w", folder, err)
		}
	}
	return j, nil
}

// Plan makes the steps. Where the bench names no silicone and no backfill, those of the job are taken.
func (j *Job) Plan(b Bench) (*Plan, error) {
	if b.Backfill == nil {
		b.Backfill = j.Backfill
	}
	if b.Silicone == nil {
		b.Silicone = j.Silicone
	}
	return Make(j.Report, j.Material, b)
}
