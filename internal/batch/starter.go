package batch

import (
	"bytes"
	_ "embed"
	"fmt"
	"strconv"
	"text/template"
	"time"

	"mouldwright/internal/job"
)

//go:embed starter.toml
var starterText string

var starter = template.Must(template.New("starter").Parse(starterText))

// starterWeeks are given for ten castings when nobody has said a date.
const starterWeeks = 4

// Starter is a batch.toml to begin with: ten castings of a job's mould. jobFolder is written as the folder
// of the batch will see it, such as "../foot-ring"; rep are the job's last results.
func Starter(rep *job.Report, jobFolder string, start time.Time) ([]byte, error) {
	if rep.Mould == nil || rep.Shot == nil {
		return nil, fmt.Errorf("job %s has no mould yet; run it first", jobFolder)
	}
	var b bytes.Buffer
	err := starter.Execute(&b, map[string]string{"Name": strconv.Quote(rep.Part.Name), "Tool": strconv.Quote(rep.Part.Name + " mould"), "Job": strconv.Quote(jobFolder),
		"Material": strconv.Quote(rep.Shot.MaterialID), "Start": strconv.Quote(start.Format(dateLayout)), "Due": strconv.Quote(start.AddDate(0, 0, 7*starterWeeks).Format(dateLayout))})
	if err != nil {
		return nil, fmt.Errorf("write a first batch.toml: %w", err)
	}
	return b.Bytes(), nil
}
