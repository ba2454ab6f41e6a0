package yard

import "math"

// The WGS 84 ellipsoid (NIMA TR8350.2, table 3.1), on which RFC 7946 and GPX
// place everything.
const (
	semiMajorM = 6378137.0
	flattening = 1 / 298.257223563
	ecc2       = flattening * (2 - flattening)
)

// frame is a local plane about an origin: x to the east, y to the north.
//
// It is the ellipsoidal polyconic projection, taken to the second order in
// the difference of longitude:
//
//	x = N(phi) cos(phi) dLambda
//	y = M dPhi + N(phi) sin(phi) cos(phi) dLambda^2 / 2
//
// with N the radius across the meridian at the point and M the radius along it
// half way. (Snyder, Map Projections: A Working Manual, USGS Professional Paper
// 1395, chapter 18, gives the whole series; from memory.) The scale is off by
// about (x/R)^2/2: 3e-8 for a mile of yard, 1e-5 for thirty kilometres.
type frame struct{ lon0, lat0 float64 } // radians

func frameAt(o LonLat) frame { return frame{o.Lon * degree, o.Lat * degree} }

const (
	degree        = math.Pi / 180
	earthDecimals = 9 // of degrees as we write them: a tenth of a millimetre
)

// radii of curvature along the meridian (M) and across it (N).
func radii(lat float64) (alongM, acrossM float64) {
	w2 := 1 - ecc2*math.Sin(lat)*math.Sin(lat)
	return semiMajorM * (1 - ecc2) / (w2 * math.Sqrt(w2)), semiMajorM / math.Sqrt(w2)
}

// local is a place in the plane.
func (f frame) local(g LonLat) Point {
	lat := g.Lat * degree
	dLon := math.Remainder(g.Lon*degree-f.lon0, 2*math.Pi) // the short way round
	along, _ := radii((lat + f.lat0) / 2)
	_, across := radii(lat)
	return Point{
		X: across * math.Cos(lat) * dLon,
		Y: along*(lat-f.lat0) + across*math.Sin(lat)*math.Cos(lat)*dLon*dLon/2,
	}
}

// global is the place on the ellipsoid of a point in the plane: local run
// backwards, by repeating it on what is left; four rounds leave less than a
// micrometre for a yard.
func (f frame) global(p Point) LonLat {
	lon, lat := f.lon0, f.lat0
	for range 6 {
		g := f.local(LonLat{lon / degree, lat / degree})
		along, across := radii(lat)
		lat += (p.Y - g.Y) / along
		lon += (p.X - g.X) / (across * math.Cos(lat))
	}
	return LonLat{math.Remainder(lon, 2*math.Pi) / degree, lat / degree}
}
