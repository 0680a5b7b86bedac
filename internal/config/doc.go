// Package config reads the keeper's YAML and turns it into a [farm.Farm] and
// the settings of the adapters, or into every problem at once, each as
// file:line:col: message with what would be right.
//
// One table of keys (keys_*.go) says what may be written, what it means and
// what stands when it is left out. Loading, [Config.Show] and [Schema] all walk
// that one table, so none of them can know a key that another does not.
//
// A file goes through three steps: [parse] makes nodes of it and refuses what
// YAML allows but a configuration does not need (aliases, tags, a second
// document); the codecs turn nodes into a [document], in which each value knows
// its place; the builder checks what no single value can show (a probe that is
// not there, shares over 100 %) and makes the [Config].
//
// It may import farm, husbandry and quantity; cmd calls it and hands plain
// values on to the adapters, which never see this package. It opens no secret
// to keep it: a [Secret] knows where it lies, and only Reveal reads it.
package config
