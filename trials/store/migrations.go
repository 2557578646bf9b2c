package store

import (
	"io/fs"
	"slices"
)

// ReadMigrations returns the texts of the .sql files of a folder, in the order of their names.
func ReadMigrations(files fs.FS, dir string) ([]string, error) {
	names, err := fs.Glob(files, dir+"/*.sql")
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	var all []string
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		all = append(all, string(text))
	}
	return all, nil
}
