package report

import "heardiff/trials/link"

// Judged returns what the page's script judges from: the rows as the page carries them, one JSON a line, and what they are judged by.
func Judged(in Input, rows []link.Row) (counted, study string, err error) {
	index := map[string]int{}
	for i, s := range in.Evidence.Sessions {
		index[s.ID] = i
	}
	if counted, err = countedLines(in.Evidence, rows, index); err != nil {
		return "", "", err
	}
	var b blocks
	if err = b.judged(in, nil, index); err != nil {
		return "", "", err
	}
	return counted, string(b.Study), nil
}
