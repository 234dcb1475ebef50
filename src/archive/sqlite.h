// The little of SQLite's interface that the index needs, with errors as exceptions.
#pragma once

#include <sqlite3.h>

#include <optional>
#include <string>

namespace interstice::archive {

// A prepared statement; columns and parameters count from 0 in the order they stand.
class Statement {
 public:
  Statement(sqlite3* db, const std::string& sql);
  ~Statement();
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  Statement& bind(const std::string& text);
  Statement& bind(std::int64_t number);
  Statement& bind(double number);
  Statement& bind(const std::optional<double>& number);

  bool step();  // true: a row stands ready
  void run();   // to the end, then ready to be bound anew

  std::string text(int column) const;
  std::int64_t integer(int column) const;
  double real(int column) const;
  std::optional<double> optional_real(int column) const;

 private:
  sqlite3* db_;
  sqlite3_stmt* statement_ = nullptr;
  int next_ = 1;
};

void execute(sqlite3* db, const std::string& sql);

// Throws what the last error of the connection stands for: InputError when the disk is full or cannot be
// written, or another program keeps the index busy; IndexUnusable otherwise.
[[noreturn]] void fail_with_sqlite_error(sqlite3* db);

// All or nothing: rolled back unless committed.
class Transaction {
 public:
  explicit Transaction(sqlite3* db);
  ~Transaction();
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  void commit();

 private:
  sqlite3* db_;
  bool open_ = true;
};

}  // namespace interstice::archive
