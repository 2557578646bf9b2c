package main

import (
	_ "embed"
	"io"

	"github.com/spf13/cobra"
)

// notices are the licences of all that is linked in. A test compares them with the list of modules.
//
//go:embed notices.txt
var notices string

func (a *app) noticesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "notices",
		Short: "print the licences of the third-party modules in the program",
		Args:  exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			result := struct {
				Schema string `json:"schema"`
				Text   string `json:"text"`
			}{"heardiff.notices/1", notices}
			return a.print(result, func(w io.Writer) { io.WriteString(w, notices) })
		},
	}
}
