package job

import (
	"strconv"
	"strings"
)

// names joins feature marks: B1, B2, B3 become B1–B3, others are listed.
func names(marks []string) string {
	var out []string
	for i := 0; i < len(marks); {
		j := i
		for j+1 < len(marks) && follows(marks[j], marks[j+1]) {
			j++
		}
		switch j - i {
		case 0:
			out = append(out, marks[i])
		case 1:
			out = append(out, marks[i], marks[j])
		default:
			out = append(out, marks[i]+"–"+marks[j])
		}
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// follows says whether b is the mark after a: the same letters, the next number.
func follows(a, b string) bool {
	la, na, okA := splitMark(a)
	lb, nb, okB := splitMark(b)
	return okA && okB && la == lb && nb == na+1
}

func splitMark(s string) (letters string, n int, ok bool) {
	letters = strings.TrimRight(s, "0123456789")
	n, err := strconv.Atoi(s[len(letters):])
	return letters, n, err == nil
}
