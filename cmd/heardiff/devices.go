package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/playback/device"
	"heardiff/stats/warning"
)

// deviceList is what "heardiff devices" prints.
type deviceList struct {
	Schema  string          `json:"schema"`
	Devices []device.Choice `json:"devices"`
	warning.Warnings
}

// The codes of a device list's warnings.
const (
	noSound   warning.Code = "no-sound"   // this program was built without a sound library
	noDevices warning.Code = "no-devices" // the sound library knows none
)

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
				list.Warn(warning.Newf(noSound, "%v", err))
			case err != nil:
				return err
			case len(found) == 0:
				list.Warn(warning.Newf(noDevices, "the sound library knows no device on this machine"))
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
	for _, text := range l.Texts {
		fmt.Fprintf(out, "Note: %s.\n", text)
	}
}
