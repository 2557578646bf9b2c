package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/playback/device"
)

// deviceList is what "heardiff devices" prints.
type deviceList struct {
	Schema   string          `json:"schema"`
	Devices  []device.Choice `json:"devices"`
	Warnings []string        `json:"warnings"`
}

func (a *app) devicesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "devices",
		Short: "list what a session can be played on",
		Long: `List what a session can be played on.

"heardiff listen --device NAME" takes any name of this list, default, file:PATH or null.
A name that begins with hw: goes to the hardware without a sound service between: it is
opened at the rate of the audio, or refused rather than resampled. It cannot be opened while
another program has it. Behind any other name a sound service may mix, scale or resample,
and this program cannot see whether it does.`,
		Example: "  heardiff devices --json",
		Args:    exactArgs(),
		RunE: func(*cobra.Command, []string) error {
			found, err := device.List()
			list := deviceList{Schema: "heardiff.devices/1", Devices: found}
			switch {
			case errors.Is(err, device.ErrNoSound):
				list.Warnings = append(list.Warnings, err.Error())
			case err != nil:
				return err
			case len(found) == 0:
				list.Warnings = append(list.Warnings, "the sound library knows no device on this machine")
			}
			list.Devices = append(list.Devices,
				device.Choice{Name: "file:PATH", About: "32-bit float WAV of what would have reached the device"},
				device.Choice{Name: "null", About: "nothing, in real time"})
			return a.print(list, list.text)
		},
	}
}

func (l deviceList) text(out io.Writer) {
	t := newTable("name", "direct", "what it is")
	for _, d := range l.Devices {
		direct := "no"
		if d.Exclusive {
			direct = "yes"
		}
		t.row(d.Name, direct, d.About)
	}
	t.print(out, "")
	for _, w := range l.Warnings {
		fmt.Fprintf(out, "Note: %s.\n", w)
	}
}
