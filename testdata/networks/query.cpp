// Reads a Bayesian network in the interchange format and answers questions about
// it with the exact join tree of dlib. It shares nothing with the program under
// test, its reader of the format included.
//
//   query FILE.bif < questions
//
// A question is a line of VARIABLE=STATE evidence, blank for none. The answer is a
// line "VARIABLE STATE PROBABILITY" for each state of each variable, then a dot.
#include <dlib/bayes_utils.h>
#include <dlib/directed_graph.h>
#include <dlib/graph.h>
#include <dlib/graph_utils.h>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

typedef std::vector<std::string> strings;

static strings tokens(const std::string& file) {
    std::ifstream in(file.c_str());
    strings out;
    std::string line;
    while (std::getline(in, line)) {
        std::size_t slashes = line.find("//");
        if (slashes != std::string::npos) line.erase(slashes);
        if (line.find("property") != std::string::npos) continue;
        std::string word;
        for (std::size_t i = 0; i <= line.size(); i++) {
            char c = i < line.size() ? line[i] : ' ';
            bool mark = std::string("{}()[]|;").find(c) != std::string::npos;
            if (!mark && !std::isspace(c) && c != ',') { word += c; continue; }
            if (!word.empty()) out.push_back(word);
            word.clear();
            if (mark) out.push_back(std::string(1, c));
        }
    }
    return out;
}

int main(int argc, char** argv) {
    using namespace dlib::bayes_node_utils;
    if (argc != 2) return 2;
    strings t = tokens(argv[1]);
    strings names;
    std::vector<strings> states;
    std::map<std::string, unsigned long> index;
    for (std::size_t i = 0; i < t.size(); i++) {
        if (t[i] != "variable") continue;
        index[t[i + 1]] = names.size();
        names.push_back(t[i + 1]);
        while (t[i] != "]") i++;
        strings s;
        for (i += 2; t[i] != "}"; i++) s.push_back(t[i]);
        states.push_back(s);
    }
    dlib::directed_graph<dlib::bayes_node>::kernel_1a_c bn;
    bn.set_number_of_nodes(names.size());
    for (std::size_t i = 0; i < names.size(); i++) set_node_num_values(bn, i, states[i].size());
    struct row { unsigned long child; std::vector<std::pair<unsigned long, unsigned long> > given; std::vector<double> p; };
    std::vector<row> rows;
    for (std::size_t i = 0; i < t.size(); i++) {
        if (t[i] != "probability") continue;
        unsigned long child = index.at(t[i += 2]);
        std::vector<unsigned long> parents;
        for (i++; t[i] != ")"; i++) {
            if (t[i] == "|") continue;
            parents.push_back(index.at(t[i]));
            bn.add_edge(index.at(t[i]), child);
        }
        for (i += 2; t[i] != "}"; i++) {
            row r;
            r.child = child;
            if (t[i] == "(") {
                for (std::size_t k = 0; k < parents.size(); k++) {
                    const strings& s = states[parents[k]];
                    unsigned long v = std::find(s.begin(), s.end(), t[++i]) - s.begin();
                    if (v == s.size()) return 1;
                    r.given.push_back(std::make_pair(parents[k], v));
                }
                i++; // the bracket
            }
            for (i++; t[i] != ";"; i++) r.p.push_back(std::atof(t[i].c_str()));
            rows.push_back(r);
        }
    }
    for (std::size_t i = 0; i < rows.size(); i++) {
        dlib::assignment given;
        for (std::size_t k = 0; k < rows[i].given.size(); k++) given.add(rows[i].given[k].first, rows[i].given[k].second);
        for (std::size_t v = 0; v < rows[i].p.size(); v++) set_node_probability(bn, rows[i].child, v, given, rows[i].p[v]);
    }
    typedef dlib::set<unsigned long>::compare_1b_c set_type;
    dlib::graph<set_type, set_type>::kernel_1a_c tree;
    create_moral_graph(bn, tree);
    create_join_tree(tree, tree);

    std::string line;
    while (std::getline(std::cin, line)) {
        for (std::size_t i = 0; i < names.size(); i++) set_node_as_nonevidence(bn, i);
        std::istringstream words(line);
        std::string w;
        while (words >> w) {
            std::size_t eq = w.find('=');
            unsigned long i = index.at(w.substr(0, eq));
            const strings& s = states[i];
            unsigned long v = std::find(s.begin(), s.end(), w.substr(eq + 1)) - s.begin();
            if (v == s.size()) return 1;
            set_node_value(bn, i, v);
            set_node_as_evidence(bn, i);
        }
        dlib::bayesian_network_join_tree solution(bn, tree);
        for (std::size_t i = 0; i < names.size(); i++) {
            if (node_is_evidence(bn, i)) continue;
            dlib::matrix<double, 1> p = solution.probability(i);
            for (std::size_t v = 0; v < states[i].size(); v++)
                std::printf("%s %s %.17g\n", names[i].c_str(), states[i][v].c_str(), p(v));
        }
        std::puts(".");
        std::fflush(stdout);
    }
}
