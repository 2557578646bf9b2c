package stats

import (
	"fmt"
	"slices"
	"strings"
)

// nameOf returns the name of a value of an enumeration; what the value is, and its number, for one that the enumeration does not have.
func nameOf[T ~uint8](what string, names []string, v T) string {
	if int(v) < len(names) {
		return names[v]
	}
	return fmt.Sprintf("%s %d", what, uint8(v))
}

// named returns the value of a name of an enumeration of two or more. Any other name is an error, which lists them.
func named[T ~uint8](what string, names []string, name string) (T, error) {
	if i := slices.Index(names, name); i >= 0 {
		return T(i), nil
	}
	last := len(names) - 1
	return 0, fmt.Errorf("stats: %s %q: %s or %s is wanted", what, name, strings.Join(names[:last], ", "), names[last])
}
