// Package faultmodel is the physics of a buried boundary loop: what a meter or
// a collar shows for each thing that can be wrong with it.
//
// [NewModel] takes what is known of one installation ([Loop], most easily from
// [DefaultLoop]) and of the instruments ([Meters]). The [Model] then judges
// readings: [Model.LogLikelihood] for given faults, [Model.Sweep] for one fault at
// every place, [Model.SweepPairs] for two, [Model.Predict] and
// [Model.SweepPredict] for readings not yet taken, [Model.WidthLogLikelihood] and
// [Model.SweepWidths] for a walk along the boundary with the collar. [Model.Draw]
// makes a [World], one installation with every unknown fixed, that answers
// readings: for demonstrations and simulations.
//
// Conductors, electrodes, inductance, capacitance, fields and the uncertainty of
// meters stand on their own as functions, each with its formula and source.
//
// # Symbols
//
//	symbol   name here                    meaning                                          unit
//	x        AtM, atM                     chainage: distance along the wire from A         m
//	l, P     LeadInM, BoundaryM           a leg of the lead-in; the boundary               m
//	r        OhmPerM                      resistance of the wire per length                ohm/m
//	alpha    AlphaPerK                    its temperature coefficient at 20 C              1/K
//	L', M'   HenryPerM, LeadCoupling      inductance per length; coupling of the legs      H/m, 1
//	C'       FaradPerM, LeadFaradPerM     capacitance per length to soil                   F/m
//	Cm'      LeadMutualFaradPerM          capacitance per length between the legs          F/m
//	1/G'     InsulationOhmM               insulation resistance times length               ohm m
//	rho      SoilOhmM, OhmM               resistivity of soil, of metal                    ohm m
//	delta    SkinDepthM                   skin depth of metal or soil                      m
//	w, f     FrequencyHz                  angular frequency, frequency                     rad/s, Hz
//	z, y     wire.z, wire.y               series impedance, shunt admittance per length    ohm/m, S/m
//	d, h     DepthM, HeightM              wire below, collar above the ground              m
//	B        PathField, SegmentField      flux density                                     T
//	I        CurrentA                     current in the wire                              A
//	u, a     Uncertainty, HalfWidth       standard uncertainty, data-sheet limit           as read
//	sigma    SigmaLn, SDLn                standard deviation of a logarithm                1
//
// Everything is SI; temperatures are in degrees Celsius. Names carry their unit.
//
// # The circuit
//
// The loop is a graph of a dozen nodes: the terminals, the far ends of the
// lead-in, the places of faults and of a tap, the rod a meter is clipped to, and
// earth. Between them lie uniform lines solved exactly, whatever their length:
// the boundary as one conductor over soil, the lead-in as two coupled legs in its
// even and odd modes. A line may instead be a ladder of n equal cells, which is
// again closed form; that is how the circuit is held against a circuit simulator
// section for section. A short series resistance of metal and gigohms of
// insulation are solved side by side by star-mesh reduction, which subtracts nothing.
// The wire is reduced once to the few nodes on which resistances hang, with its
// derivatives by every unknown; each guess at the resistances is then a small solve.
//
// A bare end in soil is an electrode of kilohms with a galvanic potential; one in
// gel or in a dry splice is a gigohm. A handheld capacitance meter is taken to
// show the magnitude of the admittance at its test frequency over w, so that a
// wet end swamps the capacitance without any rule being written for it.
//
// # Judgement
//
// Readings are judged together on the scale ln(value + a few digits). The
// unknowns of the installation and the meters (ohms and farads per metre,
// temperature, lengths, insulation, soil, rod, leads, gains, source) are log-normal
// and integrated out by an exact Gaussian step on the circuit's derivatives, which
// come from the solution itself by the adjoint: what two readings share cancels
// between them, such as the gain in a ratio of capacitances. Contacts that may lie
// anywhere over decades (bare ends, splices, touches) are mixtures of log-normal
// tiles, each taken as straight through three points with what is bent left as
// extra spread. Any reading may be wrong altogether with a probability of 1 %: up
// to two such are taken out in closed form. Nothing is sampled, so results repeat.
//
// Along the wire the predictions are polynomials through Chebyshev nodes between
// the lead-in's ends and taps. They depend on no reading and are kept.
//
// # Assumptions and limits
//
//   - Soil is a perfect conductor away from electrodes, and free space to the
//     magnetic field. Both fail where the loop or the collar's distance nears the
//     skin depth of soil: 50 m at 10 kHz in 100 ohm m. Fields within a few metres
//     of the wire, which is where collars hear, are not touched by it.
//   - Inductance is spread evenly along the boundary. Loops whose electrical length
//     nears a quarter wave resonate; the lines are exact there, but their constants
//     are not: trust falls beyond 1,500 m of wire at 20 kHz.
//   - The wire is uniform but for 0.3 % of resistance and 1.2 % of capacitance that
//     each reading has for itself. Dry, cracked soil with stretches of no contact
//     breaks this for capacitance.
//   - An ohmmeter drives some tenths of a volt; galvanic volts are a factor on its
//     reading that reverses with the leads.
//   - Skin effect is that of a solid round wire of one metal; clad wire by its mean.
//   - A circuit holds three faults; a stretch between two breaks reaches no meter.
//     A touch judged with another fault, the touch's other place unknown, is
//     averaged coarsely. Sections of the lead-in shorter than a few centimetres cost
//     digits of the smallest currents; places are snapped to 0.1 mm.
//   - Widths are those of a collar whose coils hear the field's magnitude. Faults
//     of the field (depth, metal, services, close runs) are dips of a few likely
//     sizes and lengths, not solved fields; corners and close runs on the map are solved.
package faultmodel
