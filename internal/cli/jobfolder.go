package cli

import (
	"context"

	"mouldwright/internal/job"
)

// JobFolders runs jobs in folders on this machine, as package job does.
type JobFolders struct{}

// Create implements Jobs.
func (JobFolders) Create(folder, part string, opt JobOptions) error {
	return job.Create(folder, part, job.CreateOptions{Name: opt.Name, Unit: opt.Unit, Object: opt.Object, Material: opt.Material, Colours: opt.ShowColours})
}

// Run implements Jobs.
func (JobFolders) Run(ctx context.Context, folder string, progress func(string, float64)) (JobReport, error) {
	rep, err := job.Run(ctx, folder, job.RunOptions{Progress: progress})
	if rep == nil {
		return nil, err
	}
	return rep, err
}

// Load implements Jobs.
func (JobFolders) Load(folder string) (JobReport, error) {
	rep, err := job.LastReport(folder)
	if err != nil {
		return nil, err
	}
	return rep, nil
}
