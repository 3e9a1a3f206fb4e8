"""Where the equations and data come from; docstrings cite these keys.

The keys are names rather than running numbers, so that adding a source never renumbers another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Source:
    """One publication: who, what, when, where."""

    key: str
    author: str
    title: str
    year: int
    where: str

    def __str__(self) -> str:
        return f"{self.author}, {self.title} ({self.year}), {self.where}"


_FLOW = (
    Source("CODATA", "Tiesinga et al.", "CODATA recommended values of the constants", 2018,
           "Rev. Mod. Phys. 93, 025010; as in scipy.constants"),
    Source("KNUDSEN-1909", "M. Knudsen", "Die Gesetze der Molekularströmung", 1909,
           "Ann. Phys. 333, 75"),
    Source("KNUDSEN-1911", "M. Knudsen", "Die molekulare Wärmeleitung der Gase", 1911,
           "Ann. Phys. 339, 593"),
    Source("CLAUSING-1932", "P. Clausing", "Über die Strömung sehr verdünnter Gase", 1932,
           "Ann. Phys. 404, 961; English in J. Vac. Sci. Technol. 8, 636 (1971)"),
    Source("BERMAN-1965", "A. S. Berman", "Free molecule transmission probabilities", 1965,
           "J. Appl. Phys. 36, 3356"),
    Source("COLE-1977", "R. J. Cole", "Transmission probability of free molecular flow", 1977,
           "Prog. Astronaut. Aeronaut. 51, 261"),
    Source("OATLEY-1957", "C. W. Oatley", "The flow of gas through composite systems", 1957,
           "Br. J. Appl. Phys. 8, 15"),
    Source("HAEFER-1980", "R. A. Haefer", "Vacuum conductance of composite systems", 1980,
           "Vacuum 30, 217"),
    Source("DUSHMAN-1962", "S. Dushman, J. M. Lafferty",
           "Scientific Foundations of Vacuum Technique, 2nd ed.", 1962, "chapter 2"),
    Source("CERCIGNANI-1966", "C. Cercignani, F. Sernagiotto",
           "Cylindrical Poiseuille flow of a rarefied gas", 1966, "Phys. Fluids 9, 40"),
    Source("SHARIPOV-1998", "F. Sharipov, V. Seleznev",
           "Data on internal rarefied gas flows", 1998, "J. Phys. Chem. Ref. Data 27, 657"),
    Source("SHARIPOV-2004", "F. Sharipov",
           "Rarefied gas flow through an orifice into vacuum", 2004, "J. Fluid Mech. 518, 35"),
    Source("SAMPSON-1891", "R. A. Sampson", "On Stokes's current function", 1891,
           "Phil. Trans. R. Soc. A 182, 449"),
    Source("DAGAN-1982", "Z. Dagan, S. Weinbaum, R. Pfeffer",
           "Creeping motion through an orifice of finite length", 1982,
           "J. Fluid Mech. 115, 505"),
    Source("CHURCHILL-1977", "S. W. Churchill",
           "Friction-factor equation spans all fluid-flow regimes", 1977,
           "Chem. Eng. 84 (24), 91"),
    Source("WHITE-2011", "F. M. White", "Fluid Mechanics, 7th ed.", 2011, "chapters 6 and 9"),
    Source("BIRD-2002", "R. B. Bird, W. E. Stewart, E. N. Lightfoot",
           "Transport Phenomena, 2nd ed.", 2002, "sections 1.4 and 2.4"),
    Source("ISO-6358", "ISO", "ISO 6358-1: flow-rate characteristics of pneumatic components",
           2013, "subsonic ellipse above the critical pressure ratio"),
    Source("WILKE-1950", "C. R. Wilke", "A viscosity equation for gas mixtures", 1950,
           "J. Chem. Phys. 18, 517"),
    Source("COOLPROP-2014", "I. H. Bell et al.",
           "Pure and pseudo-pure fluid thermophysical property evaluation", 2014,
           "Ind. Eng. Chem. Res. 53, 2498"),
    Source("PERRY-2008", "R. H. Perry, D. W. Green",
           "Perry's Chemical Engineers' Handbook, 8th ed.", 2008,
           "table 2-312, as tabulated in the library chemicals"),
    Source("VDI-2010", "VDI-GVC", "VDI Heat Atlas, 2nd ed.", 2010,
           "table D3.1-8, as tabulated in the library chemicals"),
    Source("SEMI-E12", "SEMI", "SEMI E12: standard pressure, temperature, density and flow units",
           2003, "0 °C and 101 325 Pa"),
)  # fmt: skip


_PUMPS = (
    Source("ELSEY-1975", "R. J. Elsey", "Outgassing of vacuum materials I and II", 1975,
           "Vacuum 25, 299 and 347"),
    Source("OHANLON-2003", "J. F. O'Hanlon", "A User's Guide to Vacuum Technology, 3rd ed.", 2003,
           "chapters 10–14 and appendix C"),
    Source("YOUNG-1969", "J. R. Young", "Outgassing of stainless steel and aluminium", 1969,
           "J. Vac. Sci. Technol. 6, 398"),
    Source("MORAW-1974", "G. Moraw, R. Dobrozemsky",
           "Outgassing of aluminium and stainless steel after moderate bake-out", 1974,
           "Jpn. J. Appl. Phys. Suppl. 2-1, 261"),
    Source("CHIGGIATO-2014", "P. Chiggiato", "Vacuum technology for ion sources", 2014,
           "CERN-2013-007; arXiv:1404.0960"),
    Source("WONG-2002", "M. Wong", "Review of outgassing rates of aluminium", 2002, "Fermilab"),
    Source("DAYTON-1959", "B. B. Dayton", "Outgassing of contaminated metal surfaces", 1959,
           "Trans. 6th AVS Vacuum Symp., 101"),
    Source("LI-1994", "M. Li, H. F. Dylla",
           "Model for the outgassing of water from metal surfaces II", 1994,
           "J. Vac. Sci. Technol. A 12, 1772; from memory"),
    Source("PEACOCK-1980", "R. N. Peacock",
           "Practical selection of elastomer materials for vacuum seals", 1980,
           "J. Vac. Sci. Technol. 17, 330"),
    Source("LUDWIG-2007", "E. E. Ludwig, A. K. Coker", "Applied Process Design, 4th ed., vol. 1",
           2007, "rules of thumb"),
    Source("WAGNER-2002", "W. Wagner, A. Pruß", "The IAPWS formulation 1995 for water", 2002,
           "J. Phys. Chem. Ref. Data 31, 387"),
    Source("POLING-2001", "B. E. Poling, J. M. Prausnitz, J. P. O'Connell",
           "The Properties of Gases and Liquids, 5th ed.", 2001,
           "appendix A, as tabulated in the library chemicals"),
    Source("IAPWS-R14", "IAPWS", "Pressure along the melting and sublimation curves of water",
           2011, "R14-08(2011), equation 6"),
    Source("SPAN-1996", "R. Span, W. Wagner", "An equation of state for carbon dioxide", 1996,
           "J. Phys. Chem. Ref. Data 25, 1509"),
    Source("FRAY-2009", "N. Fray, B. Schmitt", "Sublimation of ices of astrophysical interest",
           2009, "Planet. Space Sci. 57, 2053"),
    Source("GAEDE-1935", "W. Gaede", "Gas ballast pumps", 1935,
           "as in Power, High Vacuum Pumping Equipment (1966), and ISO 21360-2"),
    Source("VANATTA-1965", "C. M. Van Atta", "Vacuum Science and Engineering", 1965,
           "Roots boosters"),
    Source("WUTZ-1989", "M. Wutz, H. Adam, W. Walcher",
           "Theory and Practice of Vacuum Technology", 1989, "chapter on Roots pumps"),
    Source("GAEDE-1913", "W. Gaede", "Die Molekularluftpumpe", 1913, "Ann. Phys. 346, 337"),
    Source("JOUSTEN-2016", "K. Jousten (ed.)", "Handbook of Vacuum Technology, 2nd ed.", 2016,
           "chapters on mechanical, turbomolecular and sorption pumps"),
    Source("HABLANIAN-1997", "M. H. Hablanian", "High-Vacuum Technology, 2nd ed.", 1997,
           "vapour-jet pumps, crossover"),
    Source("FRITSCH-1973", "F. N. Fritsch, R. E. Shafer, W. P. Crowley",
           "Algorithm 443: solution of the transcendental equation w exp(w) = x", 1973,
           "Comm. ACM 16, 123"),
    Source("FRITSCH-1980", "F. N. Fritsch, R. E. Carlson", "Monotone piecewise cubic interpolation",
           1980, "SIAM J. Numer. Anal. 17, 238"),
    Source("CHANDRUPATLA-1997", "T. R. Chandrupatla",
           "A new hybrid quadratic/bisection algorithm for finding the zero of a function", 1997,
           "Adv. Eng. Softw. 28, 145"),
    Source("SOBOL-2008", "S. Joe, F. Y. Kuo",
           "Constructing Sobol sequences with better two-dimensional projections", 2008,
           "SIAM J. Sci. Comput. 30, 2635"),
    Source("WICHURA-1988", "M. J. Wichura", "The percentage points of the normal distribution",
           1988, "Appl. Stat. 37, 477; as in Python's statistics.NormalDist"),
    Source("HOCHBRUCK-2009", "M. Hochbruck, A. Ostermann, J. Schweitzer",
           "Exponential Rosenbrock-type methods", 2009, "SIAM J. Numer. Anal. 47, 786"),
    Source("BENDER-1978", "C. M. Bender, S. A. Orszag",
           "Advanced Mathematical Methods for Scientists and Engineers", 1978,
           "chapter 6, integration by parts; from memory"),
    Source("KRONROD-1965", "A. S. Kronrod", "Nodes and Weights of Quadrature Formulas", 1965,
           "three points of Gauss and four more; from memory, the test integrates polynomials"),
    Source("ANDERSON-1973", "N. Anderson, Å. Björck",
           "A new high order method of regula falsi type", 1973, "BIT 13, 253; from memory"),
)  # fmt: skip


def _table(*groups: tuple[Source, ...]) -> Mapping[str, Source]:
    return MappingProxyType({source.key: source for group in groups for source in group})


SOURCES: Mapping[str, Source] = _table(_FLOW, _PUMPS)
