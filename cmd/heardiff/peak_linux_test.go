package main

import (
	"os"
	"syscall"
)

// peakMB returns the most memory that a process held, in MB. Linux counts kilobytes; other systems use other units, or do not count it.
func peakMB(p *os.ProcessState) float64 { return float64(p.SysUsage().(*syscall.Rusage).Maxrss) / 1024 }
