package command

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"

	"loopfault/diagnose"
	"loopfault/diagnose/quantity"
	"loopfault/kb/strictyaml"
)

// Settings are what a person may set once instead of each time.
type Settings struct {
	Role       diagnose.Role // "" where nobody said
	Units      quantity.Units
	Currency   string
	PerMinute  *float64 // money a minute of the role's time costs; nil: the knowledge base's figure
	PerFootDug *float64 // money, on top of the time
	PerSplice  *float64 // money, material
	Tools      []string // nil: the role's usual ones
	CaseFolder string   // "" is the working folder
	Overlay    string   // "" is none

	origin map[string]string // where each key's value comes from
	value  map[string]string // as it was given
}

// setting is one key of the settings file, of the environment and, where a
// command has it, of the flags.
type setting struct {
	key      string
	fallback string // the default
	meaning  string
	set      func(s *Settings, text string) error
}

const environmentPrefix = "LOOPFAULT"

func (s setting) variable() string { return environmentPrefix + "_" + strings.ToUpper(s.key) }
func (s setting) flag() string     { return strings.ReplaceAll(s.key, "_", "-") }

var settings = []setting{
	{"role", "", "homeowner, technician or support", func(s *Settings, text string) (err error) {
		s.Role, err = parseRole(text)
		return err
	}},
	{"units", "ft", "ft or m", func(s *Settings, text string) (err error) {
		s.Units, err = quantity.ParseUnits(text)
		return err
	}},
	{"currency", "USD", "the name or sign put before money", func(s *Settings, text string) error {
		s.Currency = text
		return nil
	}},
	{"cost_per_minute", "", "money for a minute of work", func(s *Settings, text string) (err error) {
		s.PerMinute, err = parseMoney(text)
		return err
	}},
	{"cost_per_foot_dug", "", "money for each foot of new trench, besides the time", func(s *Settings, text string) (err error) {
		s.PerFootDug, err = parseMoney(text)
		return err
	}},
	{"cost_per_splice", "", "money for a waterproof splice", func(s *Settings, text string) (err error) {
		s.PerSplice, err = parseMoney(text)
		return err
	}},
	{"tools", "", "what is at hand, such as meter, spade", func(s *Settings, text string) error {
		s.Tools = splitList(text)
		return nil
	}},
	{"case_folder", "", "where new cases are kept", func(s *Settings, text string) error {
		s.CaseFolder = text
		return nil
	}},
	{"overlay", "", "a file of your own that changes the knowledge base", func(s *Settings, text string) error {
		s.Overlay = text
		return nil
	}},
}

// fileSettings is the settings file's shape; it is read strictly before viper
// sees it, so that each fault has its place and no key is lost to folded case.
type fileSettings struct {
	Role           strictyaml.Text   `yaml:"role"`
	Units          strictyaml.Text   `yaml:"units"`
	Currency       strictyaml.Text   `yaml:"currency"`
	CostPerMinute  strictyaml.Text   `yaml:"cost_per_minute"`
	CostPerFootDug strictyaml.Text   `yaml:"cost_per_foot_dug"`
	CostPerSplice  strictyaml.Text   `yaml:"cost_per_splice"`
	Tools          []strictyaml.Text `yaml:"tools"`
	CaseFolder     strictyaml.Text   `yaml:"case_folder"`
	Overlay        strictyaml.Text   `yaml:"overlay"`
}

// settingsFile is the file in the user's configuration folder.
func settingsFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("finding the configuration folder: %w", err)
	}
	return filepath.Join(dir, "loopfault", "config.yaml"), nil
}

// loadSettings merges the flags that were given, the environment, the settings
// file and the defaults, in this order. A named file must exist, the usual one
// need not.
func loadSettings(named string, flags *pflag.FlagSet) (*Settings, error) {
	v := viper.New()
	v.SetEnvPrefix(environmentPrefix)
	for _, s := range settings {
		v.SetDefault(s.key, s.fallback)
		if err := v.BindEnv(s.key); err != nil {
			return nil, err
		}
		if f := flags.Lookup(s.flag()); f != nil {
			if err := v.BindPFlag(s.key, f); err != nil {
				return nil, err
			}
		}
	}
	file := named
	if file == "" {
		usual, err := settingsFile()
		if err != nil {
			return nil, err
		}
		file = usual
	}
	found, err := checkSettingsFile(file)
	switch {
	case err != nil && named == "" && errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("reading the settings: %w", err)
	case found:
		v.SetConfigFile(file)
		v.SetConfigType("yaml")
		if err := v.ReadInConfig(); err != nil {
			return nil, fmt.Errorf("reading the settings: %s: %w", file, err)
		}
	}

	out := &Settings{origin: map[string]string{}, value: map[string]string{}}
	for _, s := range settings {
		text := v.GetString(s.key)
		if list, ok := v.Get(s.key).([]any); ok {
			text = joinList(list)
		}
		f := flags.Lookup(s.flag())
		switch {
		case f != nil && f.Changed:
			out.origin[s.key] = "flag --" + s.flag()
			text = flagText(f)
		case os.Getenv(s.variable()) != "":
			out.origin[s.key] = "environment " + s.variable()
		case v.InConfig(s.key):
			out.origin[s.key] = "file " + file
			if s.key == "case_folder" || s.key == "overlay" {
				text = beside(file, text)
			}
		default:
			out.origin[s.key] = "default"
			text = s.fallback
		}
		out.value[s.key] = text
		if text == "" {
			continue
		}
		if err := s.set(out, text); err != nil {
			if f != nil && f.Changed {
				return nil, usagef("", "--%s: %v", s.flag(), err)
			}
			return nil, fmt.Errorf("%s: %s: %w", out.origin[s.key], s.key, err)
		}
	}
	return out, nil
}

// checkSettingsFile reads the file strictly. found is false for a file without
// any setting, such as one with every line commented out.
func checkSettingsFile(file string) (found bool, err error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return false, err
	}
	if onlyComments(string(data)) {
		return false, nil
	}
	var f fileSettings
	if err := strictyaml.Decode(file, data, &f); err != nil {
		return false, err
	}
	var faults strictyaml.Faults
	for i, text := range []strictyaml.Text{f.Role, f.Units, f.Currency, f.CostPerMinute, f.CostPerFootDug, f.CostPerSplice} {
		if text.Line == 0 {
			continue
		}
		if err := settings[i].set(&Settings{}, text.Value); err != nil {
			faults.Add(file, text.Pos(), "%s: %v", settings[i].key, err)
		}
	}
	return true, faults.Err()
}

func onlyComments(text string) bool {
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			return false
		}
	}
	return true
}

// beside takes a path in a settings file as relative to the file's own folder,
// and ~ as the home folder.
func beside(file, path string) string {
	if rest, ok := strings.CutPrefix(path, "~/"); ok {
		if home, err := os.UserHomeDir(); err == nil {
			return filepath.Join(home, rest)
		}
	}
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(filepath.Dir(file), path)
}

func flagText(f *pflag.Flag) string {
	if list, ok := f.Value.(pflag.SliceValue); ok {
		return strings.Join(list.GetSlice(), ",")
	}
	return f.Value.String()
}

func joinList(list []any) string {
	text := make([]string, len(list))
	for i, v := range list {
		text[i] = fmt.Sprint(v)
	}
	return strings.Join(text, ",")
}

func splitList(text string) []string {
	var list []string
	for item := range strings.SplitSeq(text, ",") {
		if item = strings.TrimSpace(item); item != "" {
			list = append(list, item)
		}
	}
	return list
}

var roles = []diagnose.Role{diagnose.Homeowner, diagnose.Technician, diagnose.Support}

func parseRole(text string) (diagnose.Role, error) {
	if role := diagnose.Role(text); slices.Contains(roles, role) {
		return role, nil
	}
	return "", fmt.Errorf("%q is no role: expected homeowner, technician or support", text)
}

// maxMoney is above what any of the costs can be, in any currency met.
const maxMoney = 1e7

func parseMoney(text string) (*float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > maxMoney {
		return nil, fmt.Errorf("%q is no amount of money: expected a number from 0 to %.0f, such as 1.50", text, maxMoney)
	}
	return &v, nil
}

// roleOr is the role that was set, or the one given.
func (s *Settings) roleOr(fallback diagnose.Role) diagnose.Role {
	if s.Role != "" {
		return s.Role
	}
	return fallback
}

// fromFlag tells whether a key was given on the command line.
func (s *Settings) fromFlag(key string) bool { return strings.HasPrefix(s.origin[key], "flag ") }
