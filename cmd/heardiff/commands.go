package main

import "github.com/spf13/cobra"

// commands returns every command of the program, in the order in which a study uses them.
func (a *app) commands() []*cobra.Command {
	return []*cobra.Command{
		a.signalCommand(),
		a.inspectCommand(),
		a.measureCommand(),
		a.integrityCommand(),
		a.compareCommand(),
		a.impairCommand(),
		a.studyCommand(),
		a.chainCommand(),
		a.captureCommand(),
		a.prepareCommand(),
		a.planCommand(),
		a.listenerCommand(),
		a.devicesCommand(),
		a.listenCommand(),
		a.helperCommand(),
		a.resultsCommand(),
		a.linkCommand(),
		a.reportCommand(),
		a.verifyCommand(),
		a.exportCommand(),
		a.importCommand(),
		a.demoCommand(),
		a.scoreCommand(),
		a.powerCommand(),
		a.poolCommand(),
		a.fitCommand(),
	}
}
