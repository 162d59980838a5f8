// How the ground of a map is painted. Layers of the map that ships: surveys/land. Of a site's own file
// those are drawn that hold water, roads and places, by the names that such files usually have.

const ROADS = ["roads", "transportation"];
// Classes of roads, as files name them, from the widest.
const WIDTHS = [
  [["highway", "motorway", "trunk"], 3.5],
  [["major_road", "primary", "secondary", "tertiary"], 2.5],
  [["minor_road", "minor", "street", "residential", "unclassified"], 1.25],
];
const NARROWEST = 0.75;

const colorsOf = (style) => (name) => style.getPropertyValue(`--map-${name}`).trim();
const classOf = ({ props }) => props.kind ?? props.class ?? "";
const widthOf = (feature) => WIDTHS.find(([classes]) => classes.includes(classOf(feature)))?.[1] ?? NARROWEST;
const isArea = (_zoom, { geomType }) => geomType === 3;
const isLine = (_zoom, { geomType }) => geomType === 2;

/** Rules of what is painted, from the ground up; `style` is that of the map's element. */
export function paintRules(style, { LineSymbolizer, PolygonSymbolizer }) {
  const color = colorsOf(style);
  const border = (dataLayer, width, more) => ({
    dataSource: "land",
    dataLayer,
    symbolizer: new LineSymbolizer({ color: color("border"), width, ...more }),
  });
  const own = (dataLayer, symbolizer, filter) => ({ dataSource: "own", dataLayer, symbolizer, filter });
  const water = new LineSymbolizer({ color: color("ground"), width: 1.5 });
  return [
    {
      dataSource: "land",
      dataLayer: "countries",
      symbolizer: new PolygonSymbolizer({ fill: color("land") }),
    },
    own("water", new PolygonSymbolizer({ fill: color("ground") }), isArea),
    ...["water", "waterway"].map((layer) => own(layer, water, isLine)),
    border("counties", 1, { dash: [4, 3] }),
    border("states", 1.5),
    border("countries", 2),
    ...ROADS.map((layer) =>
      own(
        layer,
        new LineSymbolizer({ color: color("road"), width: (_zoom, feature) => widthOf(feature) }),
        isLine,
      ),
    ),
  ];
}

/** Rules of the names, the most important first. */
export function labelRules(style, { CenteredTextSymbolizer, LineLabelSymbolizer }) {
  const color = colorsOf(style);
  const family = style.fontFamily;
  const size = Number.parseFloat(style.fontSize);
  const text = (share, weight) => ({
    fill: color("name"),
    fontFamily: family,
    fontSize: size * share,
    fontWeight: weight,
    stroke: color("land"),
    width: 1.5,
  });
  const area = (kind, minzoom, maxzoom, share, weight) => ({
    dataSource: "land",
    dataLayer: "names",
    filter: (_zoom, { props }) => props.kind === kind,
    minzoom,
    maxzoom,
    symbolizer: new CenteredTextSymbolizer(text(share, weight)),
  });
  return [
    area("countries", 3, 5, 0.95, 600),
    area("states", 5, 8, 0.95, 600),
    { dataSource: "own", dataLayer: "places", symbolizer: new CenteredTextSymbolizer(text(0.9, 600)) },
    { dataSource: "own", dataLayer: "place", symbolizer: new CenteredTextSymbolizer(text(0.9, 600)) },
    area("counties", 8, 24, 0.9, 400),
    ...[...ROADS, "transportation_name"].map((dataLayer) => ({
      dataSource: "own",
      dataLayer,
      minzoom: 13,
      symbolizer: new LineLabelSymbolizer(text(0.8, 400)),
    })),
  ];
}
