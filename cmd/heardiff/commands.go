package main

import "github.com/spf13/cobra"

// commandGroup is a part of the program under the title that help gives it.
type commandGroup struct {
	title    string
	commands []*cobra.Command
}

// commands returns every command of the program, each group in the order in which it is used.
func (a *app) commands() []commandGroup {
	return []commandGroup{{"On files (measure also on a study):", []*cobra.Command{
		a.signalCommand(),
		a.inspectCommand(),
		a.measureCommand(),
		a.integrityCommand(),
		a.compareCommand(),
		a.impairCommand(),
		a.bandsCommand(),
	}}, {"On a study:", []*cobra.Command{
		a.studyCommand(),
		a.nextCommand(),
		a.chainCommand(),
		a.captureCommand(),
		a.prepareCommand(),
		a.excerptCommand(),
		a.planCommand(),
		a.listenerCommand(),
		a.devicesCommand(),
		a.listenCommand(),
		a.helperCommand(),
		a.sessionCommand(),
		a.resultsCommand(),
		a.linkCommand(),
		a.reportCommand(),
		a.verifyCommand(),
		a.exportCommand(),
		a.importCommand(),
		a.demoCommand(),
	}}, {"On numbers (pool also on a study):", []*cobra.Command{
		a.scoreCommand(),
		a.powerCommand(),
		a.poolCommand(),
		a.fitCommand(),
	}}, {"On the program:", []*cobra.Command{
		a.helpCommand(),
		a.completionCommand(),
		a.manCommand(),
		a.versionCommand(),
		a.noticesCommand(),
	}}}
}
