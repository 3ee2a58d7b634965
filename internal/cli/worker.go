package cli

import (
	"errors"
	"fmt"

	"mouldwright/internal/web"
)

type workerCmd struct {
	Database string `env:"MOULDWRIGHT_DATABASE" placeholder:"PLACE" help:"The line of work that serve uses: postgres://USER@HOST/DATABASE."`
	AtOnce   int    `default:"1" help:"Tasks at once. Each uses every core."`
}

// mostAtOnce is more tasks than any machine has use for: each holds its part in memory.
const mostAtOnce = 64

func (c workerCmd) Run(s *session) error {
	if c.Database == "" {
		return errors.New("name the line of work with --database postgres://USER@HOST/DATABASE, or set MOULDWRIGHT_DATABASE")
	}
	if c.AtOnce < 1 || c.AtOnce > mostAtOnce {
		return fmt.Errorf("--at-once %d is outside 1 to %d", c.AtOnce, mostAtOnce)
	}
	return web.Work(s.unwatched, web.WorkerOptions{Database: c.Database, AtOnce: c.AtOnce}, func() {
		if !s.quiet {
			fmt.Fprintln(s.env.Out, "Ready for work (Ctrl-C gives it back and ends)")
		}
	})
}
