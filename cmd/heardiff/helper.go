package main

import (
	"errors"
	"fmt"
	"net"

	"heardiff/trials/study"

	"github.com/spf13/cobra"
)

func (a *app) helperCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "helper",
		Short: "switch by hand: be told which chain to connect, on a second terminal",
		Long: `Switch by hand, for gear that cannot be captured: a plan made with "plan new --by-hand" is
listened to as usual on one terminal; this command, on another that the listener cannot see,
says which chain to connect, and passes on when it is done.

The helper knows what is connected, so that a glance, a sigh or the time taken can tell:
every result of such a session is marked single-blind.

ELECTRICITY: switch signal leads only, with the volume down. Opening or modifying
mains-powered gear is for licensed practice under local codes.`,
		Example: "  heardiff helper --study bench",
		Args:    exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := a.openStudy(c.Context())
			if err != nil {
				return err
			}
			address, err := a.helperAddress(c.Context(), s)
			if err = errors.Join(err, s.Close()); err != nil {
				return err
			}
			conn, err := net.Dial("unix", address)
			if err != nil {
				return study.Blamed(study.Failure, fmt.Errorf("no listener waits for a helper: %w", err), `first start "heardiff listen" with a plan made by "plan new --by-hand"`)
			}
			defer conn.Close()
			return a.assist(c.Context(), a.stdin, conn)
		},
	}
}
